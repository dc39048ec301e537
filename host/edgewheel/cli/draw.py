"""`edgewheel draw`: a wheel and its signals as an SVG picture, or the whole library on a sheet."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from edgewheel.cli.exits import ExitCode
from edgewheel.errors import BenchError, UsageError


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
        _write(args.svg, wheel_svg(find(args.wheel)))
    if args.sheet is not None:
        _write(args.sheet, sheet_svg(listing()))
    return ExitCode.PASSED


def _write(target: str, text: str) -> None:
    """To stdout, or to a file that appears only when it is whole. Raises BenchError."""
    if target == "-":
        sys.stdout.write(text)
        return
    path = Path(target)
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise BenchError(
            f"{path} cannot be written: {error.strerror}. Check the folder and the space."
        ) from error
