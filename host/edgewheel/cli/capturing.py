"""Options of every command that reads a capture."""

from __future__ import annotations

import argparse
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.options import number

if TYPE_CHECKING:
    from edgewheel.edges.captures.capture import Capture


def add_capture_arguments(parser: argparse.ArgumentParser, dest: str = "capture") -> None:
    """The capture and how to read it."""
    parser.add_argument(
        dest,
        type=Path,
        metavar="CAPTURE",
        help="a VCD, CSV or WAV file, or a list of tooth periods",
    )
    how = parser.add_argument_group("how to read it, where the file does not say")
    how.add_argument("--kind", choices=("samples", "edges", "periods"), default="auto")
    how.add_argument("--delimiter", metavar="CHAR", help="what stands between fields, or tab")
    how.add_argument("--unit", metavar="U", help="unit of time: s, ms, us, ns, 0.5us, or 4MHz")
    how.add_argument("--rate", type=number(above=0), metavar="HZ", help="samples a second")
    how.add_argument("--time", metavar="COLUMN", help="the column of the time")
    how.add_argument(
        "--column", action="append", default=[], metavar="COLUMN",
        help="a column, channel or signal to read, by name or number; may be given again",
    )  # fmt: skip
    how.add_argument("--signal", choices=("level", "vr"), default="auto", help="what was sampled")
    how.add_argument("--low", type=float, metavar="X", help="low threshold of a level")
    how.add_argument("--high", type=float, metavar="X", help="high threshold, or what arms a VR")
    how.add_argument("--wrap", type=int, metavar="BITS", help="bits of the counter of the times")
    how.add_argument("--edge", choices=("rise", "fall"), default="rise", help="of tooth periods")
    how.add_argument(
        "--filter-us", type=number(minimum=0), default=Fraction(0), metavar="X",
        help="take out pulses shorter than this",
    )  # fmt: skip


def read(path: Path, args: argparse.Namespace) -> Capture:
    """The capture as the options say."""
    from edgewheel.edges.captures.options import ReadOptions, unit_seconds
    from edgewheel.edges.captures.read import read_capture

    options = ReadOptions(
        kind=args.kind,
        delimiter="\t" if args.delimiter in ("tab", "\\t") else args.delimiter,
        unit_s=unit_seconds(args.unit) if args.unit else None,
        rate_hz=args.rate,
        time=args.time,
        columns=tuple(args.column),
        low=args.low,
        high=args.high,
        signal=args.signal,
        wrap_bits=args.wrap,
        edge=args.edge,
        filter_s=args.filter_us / 10**6,
    )
    return read_capture(path, options)
