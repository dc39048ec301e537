"""An output that switches the controller's supply, beside the tracks of the wheel.

Its edges are on the same clock as the teeth, so the supply comes at an exact crank angle. They may
come before table tick 0, in the lead of the pin table.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from edgewheel.edges.table import EdgeChunk, EdgeHeader, join


@dataclass(frozen=True)
class SupplyLine:
    """The line of a number, counted like tracks, that is off until `on_s` from table tick 0 on."""

    track: int
    on_s: Fraction


def with_supply(
    header: EdgeHeader, chunks: Iterable[EdgeChunk], supply: SupplyLine
) -> tuple[EdgeHeader, Iterator[EdgeChunk]]:
    """The edge table with the supply's line; lines between it and the tracks never change."""
    own = len(header.tracks)
    unused = tuple(f"output {number + 1}" for number in range(own, supply.track))
    tracks = (*header.tracks, *unused, "supply")
    initial = (*header.initial, *(0,) * (len(unused) + 1))
    tick = round(supply.on_s * header.tick_hz)
    return EdgeHeader(header.tick_hz, tracks, initial), _merged(chunks, _edge(tick, supply.track))


def _edge(tick: int, track: int) -> EdgeChunk:
    return EdgeChunk(
        np.array([tick], np.int64), np.array([track], np.uint8), np.array([1], np.uint8)
    )


def _merged(chunks: Iterable[EdgeChunk], edge: EdgeChunk) -> Iterator[EdgeChunk]:
    """The supply's edge in its place among all others; an edge of a track at its tick comes first.

    It is left out if it comes after all of them: then it belongs to no part of the motion.
    """
    left = edge
    for chunk in chunks:
        if len(left) and len(chunk) and left.ticks[0] <= chunk.ticks[-1]:
            cut = int(np.searchsorted(chunk.ticks, left.ticks[0], side="right"))
            yield join(chunk[:cut], left, chunk[cut:])
            left = EdgeChunk.empty()
        else:
            yield chunk
