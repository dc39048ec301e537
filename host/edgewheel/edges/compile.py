"""From a level table and a motion to the edge table, chunk by chunk."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import BLOCK_EDGES, PhaseTable
from edgewheel.edges.pulses import PulseEnds
from edgewheel.edges.table import EdgeChunk, EdgeHeader
from edgewheel.edges.ticks import SegmentTicks
from edgewheel.motion.motion import Motion, Placed
from edgewheel.motion.ripple import Ripple


class EdgeCompiler:
    """The edges of a wheel under a motion, from any time on.

    The motion may grow while chunks are drawn. Ticks do not depend on where a chunk ends or a
    reading begins.
    """

    def __init__(self, levels: LevelTable, motion: Motion, tick_hz: int) -> None:
        self._levels = levels
        self._motion = motion
        self._tick_hz = tick_hz
        self._phases: dict[Ripple | None, PhaseTable] = {}
        pulsed = {pulse.track for pulse in levels.pulses}
        self._flips = np.array([t not in pulsed for t in range(len(levels.tracks))], np.uint8)

    def header(self, begin_s: Fraction = Fraction(0)) -> EdgeHeader:
        """The header of the table that begins at a time: levels as they stand just before it."""
        gap = self._gap_at(begin_s)
        initial = list(self._levels.initial)
        n = len(self._levels)
        for edge in range(gap - n, gap):
            track = self._levels.track[edge % n]
            if self._flips[track]:
                initial[track] = self._levels.level[edge % n]
        return EdgeHeader(self._tick_hz, self._levels.tracks, tuple(initial))

    def chunks(
        self,
        begin_s: Fraction = Fraction(0),
        end_s: Fraction | None = None,
        chunk_edges: int = BLOCK_EDGES,
    ) -> Iterator[EdgeChunk]:
        """The edges in [begin_s, end_s), in chunks of about `chunk_edges` that may end anywhere.

        Without `end_s`, to the end of the motion as it is when the reading gets there. A direction
        sensor's pulse is whole if it starts in time. Raises UsageError where such pulses overlap.
        """
        pieces = self._pieces(begin_s, end_s, chunk_edges)
        if not self._levels.pulses:
            for chunk, _ in pieces:
                yield chunk
            return
        pulse_ends = PulseEnds(self._levels, self._tick_hz)
        for chunk, direction in pieces:
            yield pulse_ends.add(chunk, direction)
        yield pulse_ends.rest()

    def _pieces(
        self, begin_s: Fraction, end_s: Fraction | None, chunk_edges: int
    ) -> Iterator[tuple[EdgeChunk, int]]:
        """Chunks of edges turned in one direction, and the direction."""
        index = self._motion.index_at(begin_s)
        while index < len(self._motion):
            placed = self._motion[index]
            if end_s is not None and placed.begin_s >= end_s:
                return
            begin = self._gap_at(begin_s) if placed.begin_s < begin_s else self._begin_gap(index)
            inside = end_s is not None and end_s < placed.end_s
            end = self._gap_within(placed, end_s) if inside and end_s else self._end_gap(placed)
            for chunk in self._segment_chunks(placed, begin, end, chunk_edges):
                yield chunk, placed.segment.direction
            index += 1

    def _segment_chunks(
        self, placed: Placed, begin: int, end: int, chunk_edges: int
    ) -> Iterator[EdgeChunk]:
        """The edges between two gaps of a segment, in the order of time."""
        if begin == end:
            return
        phase = self._phase(placed)
        ticks = SegmentTicks(placed, phase, self._tick_hz)
        if begin < end:
            for low in range(begin, end, chunk_edges):
                high = min(low + chunk_edges, end)
                yield EdgeChunk(ticks.ticks(low, high), *phase.columns(low, high))
            return
        for high in range(begin, end, -chunk_edges):
            low = max(high - chunk_edges, end)
            track, level = phase.columns(low, high)
            back = level[::-1] ^ self._flips[track[::-1]]
            yield EdgeChunk(ticks.ticks(low, high)[::-1], track[::-1], back)

    def _phase(self, placed: Placed) -> PhaseTable:
        ripple = placed.segment.ripple
        if ripple not in self._phases:
            self._phases[ripple] = PhaseTable(self._levels, ripple)
        return self._phases[ripple]

    def _gap_at(self, seconds: Fraction) -> int:
        """The gap at a time: the number of edges that lie before the crank's place."""
        index = self._motion.index_at(seconds)
        if index >= len(self._motion):
            return 0
        placed = self._motion[index]
        if seconds <= placed.begin_s:
            return self._begin_gap(index)
        if seconds >= placed.end_s:
            return self._end_gap(placed)
        return self._gap_within(placed, seconds)

    def _begin_gap(self, index: int) -> int:
        """Where a segment begins, told by its forerunner so that no edge falls between the two."""
        if index == 0:
            placed = self._motion[0]
            return self._phase(placed).gap(placed.begin_mean_deg)
        return self._end_gap(self._motion[index - 1])

    def _end_gap(self, placed: Placed) -> int:
        return self._phase(placed).gap(placed.end_mean_deg)

    def _gap_within(self, placed: Placed, seconds: Fraction) -> int:
        turned = placed.segment.mean_deg_at(seconds - placed.begin_s)
        return self._phase(placed).gap(placed.begin_mean_deg + turned)
