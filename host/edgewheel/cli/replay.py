"""`edgewheel replay`: a capture on the bench, edge for edge."""

from __future__ import annotations

import argparse
from fractions import Fraction
from pathlib import Path

from edgewheel.cli.capturing import add_capture_arguments, read
from edgewheel.cli.options import number


def add_arguments(parser: argparse.ArgumentParser) -> None:
    from edgewheel.cli.run import add_run_arguments

    add_capture_arguments(parser)
    parser.add_argument(
        "--like", type=Path, required=True, metavar="BENCH",
        help="a bench file with the board, the controller and the wheel",
    )  # fmt: skip
    parser.add_argument(
        "--speed", type=number(above=0), default=Fraction(1), metavar="X",
        help="times as fast as it was captured (1)",
    )  # fmt: skip
    add_run_arguments(parser)


def run(args: argparse.Namespace) -> int:
    from edgewheel.bench.loader import load_plan
    from edgewheel.bench.replay import replayed
    from edgewheel.cli.run import play

    capture = read(args.capture, args)
    return play(replayed(load_plan(args.like), capture, args.speed), args)
