"""`edgewheel diagnose`: which setting of the controller is wrong, by varying the signal."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json
from edgewheel.cli.reporting import leave_junit
from edgewheel.cli.searching import add_search_arguments
from edgewheel.cli.talk import Talk, stoppable

if TYPE_CHECKING:
    from edgewheel.search.diagnosing import Diagnosing


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", type=Path, help="a bench file whose wheel is the engine's own")
    parser.add_argument(
        "--speed",
        type=int,
        default=1000,
        metavar="RPM",
        help="the speed of every try that is not about speed (default 1000); where nothing is "
        "wrong there, the slowest and the fastest that the bench file holds follow",
    )
    add_search_arguments(parser)


def run(args: argparse.Namespace) -> int:
    from edgewheel.bench.loader import load_plan
    from edgewheel.errors import UsageError
    from edgewheel.search.diagnose import LEAST_RPM, MOST_RPM
    from edgewheel.search.diagnose_words import step_line
    from edgewheel.search.diagnosing import Diagnosing
    from edgewheel.search.trials import SearchStopped

    if not LEAST_RPM <= args.speed <= MOST_RPM:
        raise UsageError(f"--speed {args.speed}: write {LEAST_RPM} to {MOST_RPM} rpm.")
    diagnosing = Diagnosing(load_plan(args.bench), args.speed, args.runs, args.resume)
    talk = Talk()
    diagnosing.summary["repeat"] = talk.keep(diagnosing.folder, args.typed)
    with stoppable(diagnosing.stop):
        try:
            for step in diagnosing.items():
                talk.say(step_line(step))
        except SearchStopped:
            talk.say(
                f"stopped after {len(diagnosing.steps)} tries. The same command with "
                f"--resume {diagnosing.folder} goes on from there"
            )
            return ExitCode.INTERRUPTED
    leave_junit(diagnosing.folder, talk)
    return _answered(diagnosing, args, talk)


def _answered(diagnosing: Diagnosing, args: argparse.Namespace, talk: Talk) -> int:
    from edgewheel.search.diagnose_words import told

    diagnosis = diagnosing.diagnosis
    if args.json:
        data = {"schema": 1, "folder": str(diagnosing.folder), **diagnosing.data}
        print_json(data)
    else:
        talk.answer(f"{diagnosing.name}: {told(diagnosis)}")
        talk.answer(f"Record: {diagnosing.folder}")
    sound = diagnosis.complete and not diagnosis.findings
    return ExitCode.PASSED if sound else ExitCode.FAILED
