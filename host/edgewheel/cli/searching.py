"""What the commands that play many trials have in common."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.options import number

if TYPE_CHECKING:
    from edgewheel.bench.search_record import Trial
    from edgewheel.search.axis import Axis
    from edgewheel.search.trial import RunUp
    from edgewheel.search.trials import Trials


def add_search_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of every search."""
    parser.add_argument("--runs", type=Path, default=Path("runs"), help="where run folders go")
    parser.add_argument("--resume", type=Path, metavar="FOLDER", help="go on with a stopped search")
    parser.add_argument("--json", action="store_true", help="the result as JSON on stdout")


def add_trial_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of a trial's motion."""
    parser.add_argument(
        "--speed",
        type=number(above=0),
        metavar="RPM",
        help="run up to this speed in each trial, instead of the bench file's motion",
    )
    parser.add_argument(
        "--rate",
        type=number(above=0),
        default=Fraction(5000),
        metavar="RPM/S",
        help="how fast to run up (default 5000)",
    )
    parser.add_argument(
        "--hold",
        type=number(above=0),
        default=Fraction(3, 5),
        metavar="S",
        help="how long to hold the speed, and four turns more (default 0.6)",
    )


def open_trials(args: argparse.Namespace, asked: Mapping[str, str], *axes: Axis) -> Trials:
    """The trials that a command line asks for over some axes; `asked` is what else it asks beside
    the bench file. Raises FileError, UsageError.
    """
    from edgewheel.bench.loader import load_plan
    from edgewheel.search.axis import refuse_unvaried
    from edgewheel.search.trial import RunUp
    from edgewheel.search.trials import Trials

    run_up: RunUp = RunUp(args.speed, args.rate, args.hold)
    plan = load_plan(args.bench)
    for axis in axes:
        refuse_unvaried(axis, plan.document)
    return Trials(plan, args.bench, run_up, asked, args.runs, args.resume)


def trial_line(value: str, trial: Trial) -> str:
    """One trial on one line."""
    reason = f" (it says: {trial.reason})" if trial.reason else ""
    word = "sync   " if trial.passed else "NO SYNC"
    return f"trial {trial.number + 1:3d}  {value}  {word}  {trial.detail}{reason}"


def stopped_line(trials: Trials) -> str:
    """What to do after a stop."""
    return (
        f"stopped after {len(trials.done)} trials. The same command with "
        f"--resume {trials.folder} goes on from there"
    )
