"""`edgewheel compile`: a wheel and a motion become an edge table."""

from __future__ import annotations

import argparse
import sys
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.options import number, tick_rate
from edgewheel.cli.output import output
from edgewheel.errors import UsageError

if TYPE_CHECKING:
    from edgewheel.edges.compile import EdgeCompiler
    from edgewheel.motion.motion import Motion

DEFAULT_TICK_HZ = 125_000_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("wheel", help="a library wheel's name or a wheel file")
    parser.add_argument("--rpm", type=number(above=0), help="constant speed")
    parser.add_argument("--turns", type=number(above=0), help="crank turns at that speed")
    parser.add_argument("--motion", type=Path, metavar="FILE", help="a motion file instead")
    parser.add_argument(
        "--tick-hz", type=tick_rate, default=DEFAULT_TICK_HZ, help="ticks a second (%(default)s)"
    )
    parser.add_argument("--csv", metavar="FILE", help="write tick,track,level; - for stdout")
    parser.add_argument("--vcd", metavar="FILE", help="write a waveform for a viewer (IEEE 1364)")


def run(args: argparse.Namespace) -> int:
    from edgewheel.edges.compile import EdgeCompiler
    from edgewheel.edges.export import write_csv, write_vcd
    from edgewheel.edges.levels import wheel_levels
    from edgewheel.wheel.library import find

    if (args.motion is None) == (args.rpm is None) or (args.rpm is None) != (args.turns is None):
        raise UsageError("How does it turn? Give either --rpm with --turns, or --motion FILE.")
    wheel = find(args.wheel)
    motion = _motion(args)
    compiler = EdgeCompiler(wheel_levels(wheel), motion, args.tick_hz)
    edges = _checked(compiler)
    header = compiler.header()
    if args.csv:
        with output(args.csv) as file:
            write_csv(file, header, compiler.chunks())
    if args.vcd:
        with output(args.vcd) as file:
            write_vcd(file, header, compiler.chunks())
    _summarise(wheel.name, edges, motion.end_s, args.tick_hz)
    return ExitCode.PASSED


def _motion(args: argparse.Namespace) -> Motion:
    if args.motion:
        from edgewheel.motion.loader import load_motion

        return load_motion(args.motion)
    from edgewheel.motion.motion import Motion
    from edgewheel.motion.segment import hold

    return Motion([hold(args.rpm, turns=args.turns)])


def _checked(compiler: EdgeCompiler) -> int:
    """The number of edges, counted before anything is written, so that no output is partial."""
    return sum(len(chunk) for chunk in compiler.chunks())


def _summarise(name: str, edges: int, seconds: Fraction, tick_hz: int) -> None:
    print(
        f"{name}: {edges} edges in {float(seconds):.6g} s, {tick_hz} ticks a second",
        file=sys.stderr,
    )
