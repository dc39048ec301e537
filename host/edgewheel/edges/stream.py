"""The edges of a group of tracks that share a course, chunk by chunk."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from edgewheel.edges.half_waves import HalfWaveTables
from edgewheel.edges.levels import LevelTable
from edgewheel.edges.passages import Passages
from edgewheel.edges.pulses import PulseEnds
from edgewheel.edges.reluctor import VrSignal
from edgewheel.edges.stretch import Course, Stretch
from edgewheel.edges.table import EdgeChunk, Ticks


@dataclass(frozen=True)
class Piece:
    """Edges `low` to `high` as they pass in one stretch, in the order of time: from `high` on down
    if it turns in reverse.
    """

    chunk: EdgeChunk
    stretch: Stretch
    low: int
    high: int


class EdgeStream:
    """The edges of some tracks from any time on; ticks do not depend on where a chunk ends."""

    def __init__(
        self, levels: LevelTable, course: Course, tick_hz: int, *, passages: bool = False
    ) -> None:
        """With `passages`, every chunk has its column of that name."""
        self._levels = levels
        self._passages = Passages(levels) if passages else None
        self._course = course
        self._waves = HalfWaveTables(levels)
        self._tick_hz = tick_hz
        marked = {one.track for one in levels.pulses} | {one.track for one in levels.vr}
        self._flips = np.array([t not in marked for t in range(len(levels.tracks))], np.uint8)

    def __len__(self) -> int:
        return len(self._levels)

    def initial(self, begin_s: Fraction) -> dict[int, int]:
        """Level by track, of the tracks that have edges, just before a time."""
        gap, n = self._gap_at(begin_s), len(self._levels)
        levels = {
            self._levels.track[edge % n]: self._levels.level[edge % n]
            for edge in range(gap - n, gap)
        }
        for pulse in self._levels.pulses:
            if pulse.track in levels:
                levels[pulse.track] = self._levels.initial[pulse.track]
        return levels | self._vr(begin_s).pin_levels() if self._levels.vr else levels

    def chunks(
        self, begin_s: Fraction, end_s: Fraction | None, chunk_edges: int
    ) -> Iterator[EdgeChunk]:
        """The edges in [begin_s, end_s), or as far as the motion has grown.

        Raises UsageError where a direction sensor's pulses overlap.
        """
        chunks = self._sensed(begin_s, end_s, chunk_edges)
        if not self._levels.pulses:
            for chunk, _ in chunks:
                yield chunk
            return
        pulse_ends = PulseEnds(self._levels, self._tick_hz)
        for chunk, direction in chunks:
            yield pulse_ends.add(chunk, direction)
        yield pulse_ends.rest()

    def pieces(
        self, begin_s: Fraction, end_s: Fraction | None, chunk_edges: int
    ) -> Iterator[Piece]:
        """The edges in [begin_s, end_s) as they pass, at least one piece a stretch."""
        stretch = self._course.at(begin_s)
        begin = self._gap_at(begin_s)
        while stretch is not None and (end_s is None or stretch.begin_s < end_s):
            stop_s = stretch.end_s if end_s is None else min(end_s, stretch.end_s)
            end = begin if stop_s <= begin_s else self._gap_in(stretch, stop_s)
            yield from self._stretch_pieces(stretch, begin, end, chunk_edges)
            begin = end
            stretch = self._course.after(stretch)

    def passed(self, end_s: Fraction) -> int:
        """How many edges of teeth pass in [0, end_s), either way; none is computed for that."""
        stretch = self._course.at(Fraction(0))
        begin, count = self._gap_at(Fraction(0)), 0
        while stretch is not None and stretch.begin_s < end_s:
            end = self._gap_in(stretch, min(end_s, stretch.end_s))
            count += abs(end - begin)
            begin, stretch = end, self._course.after(stretch)
        return count

    def _sensed(
        self, begin_s: Fraction, end_s: Fraction | None, chunk_edges: int
    ) -> Iterator[tuple[EdgeChunk, int]]:
        """What sensors make of the pieces, not empty, and the direction."""
        vr = self._vr(begin_s) if self._levels.vr else None
        for one in self.pieces(begin_s, end_s, chunk_edges):
            chunk = vr.add(one.chunk, one.stretch, one.low, one.high) if vr else one.chunk
            if len(chunk):
                yield chunk, one.stretch.direction

    def _vr(self, begin_s: Fraction) -> VrSignal:
        return VrSignal(
            self._levels,
            self._waves,
            self._course,
            self._tick_hz,
            self._begin_gap,
            begin_s,
            self._gap_at(begin_s),
        )

    def _gap_at(self, seconds: Fraction) -> int:
        """The gap at a time: the number of edges that lie before the tracks' place."""
        stretch = self._course.at(seconds)
        if stretch is None:
            return 0
        if seconds <= stretch.begin_s:
            return self._begin_gap(stretch)
        return self._gap_in(stretch, seconds)

    def _gap_in(self, stretch: Stretch, seconds: Fraction) -> int:
        """The gap at a time after a stretch has begun; at rest the one in which it began, even if
        it began within a rounding of an edge.
        """
        if stretch.direction == 0:
            return self._begin_gap(stretch)
        return stretch.gap_at(min(seconds, stretch.end_s))

    def _begin_gap(self, stretch: Stretch) -> int:
        """Where a stretch begins, told by its forerunner so that no edge falls between the two."""
        before = self._course.before(stretch)
        while before is not None and before.direction == 0:
            stretch, before = before, self._course.before(before)
        if before is None:
            return stretch.gap_at(stretch.begin_s)
        return before.gap_at(before.end_s)

    def _stretch_pieces(
        self, stretch: Stretch, begin: int, end: int, chunk_edges: int
    ) -> Iterator[Piece]:
        """The edges between two gaps of a stretch, in the order of time."""
        if begin == end:
            nothing = EdgeChunk.empty(passages=self._passages is not None)
            yield Piece(nothing, stretch, begin, end)
        elif begin < end:
            for low in range(begin, end, chunk_edges):
                high = min(low + chunk_edges, end)
                chunk = EdgeChunk(
                    stretch.ticks(low, high),
                    *stretch.phase.columns(low, high),
                    self._passage(low, high),
                )
                yield Piece(chunk, stretch, low, high)
        else:
            for high in range(begin, end, -chunk_edges):
                low = max(high - chunk_edges, end)
                yield Piece(self._backward(stretch, low, high), stretch, low, high)

    def _backward(self, stretch: Stretch, low: int, high: int) -> EdgeChunk:
        """Edges as they pass in reverse, the later ones first."""
        track, level = stretch.phase.columns(low, high)
        passage = self._passage(low, high)
        return EdgeChunk(
            stretch.ticks(low, high)[::-1],
            track[::-1],
            level[::-1] ^ self._flips[track[::-1]],
            None if passage is None else passage[::-1],
        )

    def _passage(self, low: int, high: int) -> Ticks | None:
        return self._passages.of(low, high) if self._passages else None
