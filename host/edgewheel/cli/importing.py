"""`edgewheel import`: a capture becomes an edge table, and what was found is said."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgewheel.cli.capturing import add_capture_arguments, read
from edgewheel.cli.exits import ExitCode

if TYPE_CHECKING:
    from edgewheel.edges.captures.capture import Capture


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_capture_arguments(parser)
    parser.add_argument("--csv", metavar="FILE", help="write the edge table; - for stdout")
    parser.add_argument("--vcd", metavar="FILE", help="write a waveform for a viewer (IEEE 1364)")
    parser.add_argument("--json", action="store_true", help="the summary as JSON on stdout")


def run(args: argparse.Namespace) -> int:
    from edgewheel.cli.output import output, print_json
    from edgewheel.edges.captures.capture import write_capture
    from edgewheel.edges.export import write_vcd

    capture = read(args.capture, args)
    if args.csv:
        with output(args.csv) as file:
            write_capture(file, capture)
    if args.vcd:
        with output(args.vcd) as file:
            write_vcd(file, capture.header, [capture.edges])
    summary = summarise(capture)
    if args.json:
        print_json(summary)
        return ExitCode.PASSED
    lines = [f"{capture.name}: {len(capture.edges):,} edges in {capture.seconds:.6g} s"]
    lines += [f"  {note}" for note in capture.found]
    lines += [f"  {name}: {one['words']}" for name, one in summary["tracks"].items()]
    print("\n".join(lines), file=sys.stderr if args.csv == "-" else sys.stdout)
    return ExitCode.PASSED


def summarise(capture: Capture) -> dict[str, Any]:
    """What an import found, by track."""
    import numpy as np

    edges, tick_hz = capture.edges, capture.header.tick_hz
    tracks: dict[str, Any] = {}
    for number, name in enumerate(capture.header.tracks):
        ticks = edges.ticks[edges.track == number]
        lengths = np.diff(ticks) / tick_hz
        if not len(lengths):
            tracks[name] = {"edges": len(ticks), "words": f"{len(ticks)} edges"}
            continue
        shortest, longest = float(lengths.min()), float(lengths.max())
        words = f"{len(ticks):,} edges, {_time(shortest)} to {_time(longest)} apart"
        if name in capture.widthless:
            words += ", widths drawn"
        tracks[name] = {
            "edges": len(ticks),
            "shortest_s": shortest,
            "longest_s": longest,
            "widths_known": name not in capture.widthless,
            "words": words,
        }
    return {
        "schema": 1,
        "file": str(Path(capture.name)),
        "tick_hz": tick_hz,
        "edges": len(edges),
        "seconds": capture.seconds,
        "found": list(capture.found),
        "tracks": tracks,
    }


def _time(seconds: float) -> str:
    for unit, factor in (("s", 1.0), ("ms", 1e3), ("us", 1e6)):
        if seconds * factor >= 1:
            return f"{seconds * factor:.4g} {unit}"
    return f"{seconds * 1e9:.4g} ns"
