"""Edge tables for other programs: CSV for people and scripts, VCD (IEEE 1364) for any waveform
viewer.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import IO

import numpy as np

from edgewheel.edges.table import EdgeChunk, EdgeHeader

CSV_HEADER = "tick,track,level\n"
_UNITS = ("s", "ms", "us", "ns", "ps", "fs")


def write_csv(file: IO[str], header: EdgeHeader, chunks: Iterable[EdgeChunk]) -> int:
    """Write `tick,track,level`, one row an edge, ticks ascending; returns the number of edges."""
    file.write(CSV_HEADER)
    endings = np.array([f",{t},{level}\n" for t in header.tracks for level in (0, 1)], object)
    edges = 0
    for chunk in chunks:
        ending = endings[2 * chunk.track.astype(np.intp) + chunk.level].tolist()
        ticks = map(str, chunk.ticks.tolist())
        file.write("".join([tick + rest for tick, rest in zip(ticks, ending, strict=True)]))
        edges += len(chunk)
    return edges


def write_vcd(file: IO[str], header: EdgeHeader, chunks: Iterable[EdgeChunk]) -> int:
    """Write a value change dump (IEEE 1364-2005, clause 18); returns the number of edges.

    The time scale is the finest power of ten whose multiple a tick is, picoseconds at the coarsest
    and femtoseconds if it is none; times are rounded once, from integers.
    """
    from vcd import VCDWriter  # slow to import, and most compilations want no VCD

    factor, scale = timescale(header.tick_hz)
    edges = 0
    with VCDWriter(file, timescale=scale, date="", comment=f"{header.tick_hz} ticks/s") as writer:
        lines = [
            writer.register_var("pins", name, "wire", size=1, init=level)
            for name, level in zip(header.tracks, header.initial, strict=True)
        ]
        for chunk in chunks:
            rows = zip(
                chunk.ticks.tolist(), chunk.track.tolist(), chunk.level.tolist(), strict=True
            )
            for tick, track, level in rows:
                writer.change(lines[track], round(tick * factor), level)
            edges += len(chunk)
    return edges


def timescale(tick_hz: int) -> tuple[Fraction, str]:
    """Time units in a tick, and the VCD time scale that they are in."""
    for power in range(16):
        units = Fraction(10**power, tick_hz)
        if units.denominator == 1 or power == 15:
            place, digit = divmod(power + 2, 3)
            return units, f"{10 ** (2 - digit)} {_UNITS[place]}"
    raise AssertionError("a time scale is always found")
