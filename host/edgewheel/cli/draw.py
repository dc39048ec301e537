"""`edgewheel draw`: a wheel and its signals as an SVG picture, or the whole library on a sheet."""

from __future__ import annotations

import argparse

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import output
from edgewheel.errors import UsageError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("wheel", nargs="?", help="a library wheel's name or a wheel file")
    parser.add_argument("--svg", metavar="FILE", help="draw the wheel; - for stdout")
    parser.add_argument("--sheet", metavar="FILE", help="draw the whole library; - for stdout")


def run(args: argparse.Namespace) -> int:
    from edgewheel.wheel.drawing.figure import wheel_svg
    from edgewheel.wheel.drawing.sheet import sheet_svg
    from edgewheel.wheel.library import find, listing

    if (args.wheel is None) != (args.svg is None):
        raise UsageError("Which wheel, and where to? Give both WHEEL and --svg FILE.")
    if args.svg is None and args.sheet is None:
        raise UsageError("What is to be drawn? Give WHEEL with --svg FILE, or --sheet FILE.")
    if args.svg is not None:
        with output(args.svg, "utf-8") as file:
            file.write(wheel_svg(find(args.wheel)))
    if args.sheet is not None:
        with output(args.sheet, "utf-8") as file:
            file.write(sheet_svg(listing()))
    return ExitCode.PASSED
