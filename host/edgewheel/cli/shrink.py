"""`edgewheel shrink`: from a run that failed, the least that makes the controller fail alike."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json
from edgewheel.cli.talk import Talk, stoppable
from edgewheel.wholefile import write_whole

if TYPE_CHECKING:
    from edgewheel.search.shrink import Shrink, ShrinkProgress, ShrinkResult

FILE = "shrunk.yaml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="RUN", help="the folder of a run that failed")
    parser.add_argument(
        "--votes",
        type=odd,
        metavar="N",
        help="play every trial up to N times and go by the majority, N odd "
        "(1 on the simulated bench, 3 on a real one)",
    )
    parser.add_argument("--json", action="store_true", help="the result as JSON on stdout")


def odd(text: str) -> int:
    """An argparse type: an odd number from 1 to 99."""
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) < 100 or int(text) % 2 == 0:
        raise argparse.ArgumentTypeError(f"'{text}' is no odd number below 100; write 3, 5 or 9")
    return int(text)


def run(args: argparse.Namespace) -> int:
    from edgewheel.search.causefile import cause_text
    from edgewheel.search.shrink import Shrink

    shrink = Shrink(args.folder, args.votes)
    talk = Talk()
    with stoppable(shrink.stop):
        for progress in shrink.items():
            _tell(talk, progress, shrink)
    talk.done()
    if shrink.result is None:
        print(
            f"edgewheel: stopped after {shrink.new_trials} trials; the same command goes on there",
            file=sys.stderr,
        )
        return ExitCode.INTERRUPTED
    text = cause_text(shrink.plan, shrink.result, args.folder)
    file = args.folder / FILE
    write_whole(file, text)
    if args.json:
        print_json(shrink_data(shrink.result, str(file)))
    else:
        print(text, end="")
        print(f"Written to {file}", file=sys.stderr)
    return ExitCode.PASSED


def shrink_data(result: ShrinkResult, file: str) -> dict[str, Any]:
    """The result for JSON."""
    return {
        "schema": 1,
        "file": file,
        "failure": result.failure.value,
        "changes": result.changes,
        "needed": len(result.flips),
        "begin_s": float(result.stretch.begin_s),
        "end_s": float(result.stretch.end_s),
        "trials": result.trials,
    }


def _tell(talk: Talk, progress: ShrinkProgress, shrink: Shrink) -> None:
    from edgewheel.search.shrink import SOUND

    if progress.done == 1 and progress.failed:
        total_s = progress.expected * progress.trial_s
        talk.say(
            f"{len(shrink.flips)} changes in {float(progress.stretch.seconds):.6g} s. It fails "
            f"again, in {progress.trial_s:.2f} s. If one change is the cause, this takes about "
            f"{progress.expected} trials, {total_s:.0f} s at most; every further one as many again."
        )
    if progress.stage == SOUND and progress.otherwise:
        talk.say(
            f"Without any change it fails, too, but otherwise: {progress.otherwise}. So a setting "
            "may be wrong, which 'edgewheel diagnose' looks for, and then this may take long and "
            "find no small cause. It goes on until Ctrl-C."
        )
    seconds = float(progress.stretch.seconds)
    words = f"{progress.stage}: {progress.changes} changes, {seconds:.6g} s, trial {progress.done}"
    talk.progress(progress.done / progress.expected, words)
