"""`edgewheel timing`: the controller's outputs against the true crank angle, from recorded runs."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json
from edgewheel.wholefile import write_whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("runs", type=Path, nargs="+", metavar="RUN", help="a run folder")
    parser.add_argument("--json", action="store_true", help="the result as JSON on stdout")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="draw errors over speed")


def run(args: argparse.Namespace) -> int:
    from edgewheel.search.recorded import RecordedRun
    from edgewheel.search.timing import timing_of
    from edgewheel.search.timing_data import timing_data
    from edgewheel.search.timing_drawing import drawing
    from edgewheel.search.timing_page import page

    timing = timing_of([RecordedRun(folder) for folder in args.runs])
    if args.json:
        print_json(timing_data(timing))
    else:
        print(page(timing), end="")
    if args.svg:
        write_whole(args.svg, drawing(timing))
        print(f"drawn: {args.svg}", file=sys.stderr)
    return ExitCode.PASSED
