"""`edgewheel starts`: from the first edge to sync, from many crank angles."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json
from edgewheel.cli.reporting import leave_junit
from edgewheel.cli.talk import Talk, stoppable

if TYPE_CHECKING:
    from edgewheel.search.starts import Start, StartsResult

BAR = 40


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", type=Path, help="a bench file; without a motion it is cranked")
    parser.add_argument(
        "--starts", type=int, default=24, metavar="N", help="angles over the cycle (%(default)s)"
    )
    parser.add_argument("--runs", type=Path, default=Path("runs"), help="where run folders go")
    parser.add_argument("--json", action="store_true", help="the result as JSON on stdout")


def run(args: argparse.Namespace) -> int:
    from edgewheel.bench.loader import load_plan
    from edgewheel.search.starts import Starts, summary

    starts = Starts(load_plan(args.bench), args.starts, args.runs)
    talk = Talk()
    starts.summary["repeat"] = talk.keep(starts.folder, args.typed)
    with stoppable(starts.stop):
        for number, start in enumerate(starts.items(), 1):
            talk.progress(number / args.starts, _told(start))
    talk.done()
    leave_junit(starts.folder, talk)
    result = starts.result
    if args.json:
        print_json({"folder": str(starts.folder), **summary(result)})
    else:
        talk.answer(page(result))
        talk.answer(f"Record: {starts.folder}")
    if starts.stopped:
        return ExitCode.INTERRUPTED
    return ExitCode.PASSED if result.quantile(1.0) is not None else ExitCode.FAILED


def page(result: StartsResult) -> str:
    """The distribution and the worst case against what the wheel allows, 80 columns."""
    degrees = [start.degrees for start in result.starts if start.degrees is not None]
    what = "crank position and phase" if result.phase else "crank position"
    lines = [
        f"{len(degrees)} of {len(result.starts)} starts found sync ({what}).",
        "Degrees from the first edge to the first sign of it:",
    ]
    top = max(degrees, default=0.0)
    lines += [_bar(start, top) for start in result.starts]
    for name, share in (("median", 0.5), ("9 of 10 within", 0.9), ("all within", 1.0)):
        value = result.quantile(share)
        lines.append(f"{name:15s}" + (f"{value:8.1f}" if value is not None else "   never"))
    if result.least is not None:
        least = result.least
        lines.append(
            f"The wheel allows {float(least.degrees):.1f} at worst ({least.teeth} teeth), to the "
            "best of decoders."
        )
    else:
        lines.append(f"The wheel alone can never tell the {what}.")
    return "\n".join(lines)


def _bar(start: Start, top: float) -> str:
    if start.degrees is None:
        return f"  from {start.start_deg:5.1f}    never"
    bar = "#" * round(BAR * start.degrees / top) if top else ""
    return f"  from {start.start_deg:5.1f} {start.degrees:8.1f} {start.teeth:4d} teeth {bar}"


def _told(start: Start) -> str:
    return f"from {start.start_deg:5.1f} degrees"
