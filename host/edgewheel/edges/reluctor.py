"""VR sensors under a motion: the voltage that turns over with the wheel and shrinks with speed.

A half-wave is seen if its peak reaches the input's threshold; the peak is reckoned when the
half-wave begins, from the mean speed then and the ripple and run-out at its middle, where the
tooth's flank is. One that is not seen takes its rise and its fall with it, so levels alternate. It
reaches no further than that, and no result depends on where chunks end.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np

from edgewheel.edges.half_waves import Flags, HalfWaves, HalfWaveTables
from edgewheel.edges.levels import LevelTable
from edgewheel.edges.stretch import Course, Stretch
from edgewheel.edges.table import NO_TOOTH, EdgeChunk, Ticks, join


class VrSignal:
    """Makes of the crossings of VR tracks what the controller's pins see, from one time on.

    Where the wheel turns back the voltage changes sign at that moment: an edge amid a half-wave.
    """

    def __init__(
        self,
        levels: LevelTable,
        waves: HalfWaveTables,
        course: Course,
        tick_hz: int,
        begin_gap: Callable[[Stretch], int],
        begin_s: Fraction,
        gap: int,
    ) -> None:
        """`begin_gap` tells the gap in which a stretch begins, `gap` is the one at `begin_s`."""
        self._levels = levels
        self._course = course
        self._tick_hz = tick_hz
        self._begin_gap = begin_gap
        self._waves = waves
        present = set(levels.track)
        self._weak = [one.track for one in levels.vr if one.amplitude and one.track in present]
        last = self._last_before(begin_s)
        self._way = self._way_of(last)
        self._high = {
            one.track: bool(self._level(one.track, gap))
            for one in levels.vr
            if one.track in present
        }
        self._seen = {
            track: self._high[track] and self._rise_seen(track, gap, last) for track in self._weak
        }

    def pin_levels(self) -> dict[int, int]:
        """Level by track at the controller's pins, as things stand."""
        return {
            track: int(high and self._seen.get(track, True)) for track, high in self._high.items()
        }

    def add(self, chunk: EdgeChunk, stretch: Stretch, low: int, high: int) -> EdgeChunk:
        """What is seen of edges `low` to `high`, in the order of time, as they pass in a stretch.

        `chunk` may hold none: a wheel may turn back between two edges.
        """
        turned = EdgeChunk.empty()
        if stretch.direction and stretch.direction != self._way:
            self._way = stretch.direction
            turned = self._turned_over(stretch.begin_s, chunk)
        if not len(chunk):
            return turned
        keep = self._keep(chunk, stretch, low, high) if self._weak else None
        self._take_note(chunk, keep)
        if keep is not None and not keep.all():
            chunk = chunk[np.flatnonzero(keep)]
        return join(turned, chunk)

    def _keep(self, chunk: EdgeChunk, stretch: Stretch, low: int, high: int) -> Flags:
        rpm = stretch.mean_rpm(chunk.ticks)
        return self._joined(chunk, self._half_waves(stretch).seen(low, high, self._way, rpm))

    def _joined(self, chunk: EdgeChunk, seen: Flags) -> Flags:
        """What is seen, with the falls whose rises passed before the chunk."""
        firsts = [(track, self._first(chunk, track)) for track in self._weak]
        falls = [(t, at) for t, at in firsts if at is not None and not chunk.level[at]]
        if not falls:
            return seen
        joined = seen.copy()
        for track, at in falls:
            joined[at] = self._seen[track]
        return joined

    def _take_note(self, chunk: EdgeChunk, keep: Flags | None) -> None:
        """How each track stands after a chunk."""
        backward = chunk[::-1]
        for track in self._high:
            at = self._first(backward, track)
            if at is None:
                continue
            self._high[track] = bool(backward.level[at])
            if keep is not None and track in self._seen:
                self._seen[track] = self._high[track] and bool(keep[len(chunk) - 1 - at])

    def _first(self, chunk: EdgeChunk, track: int) -> int | None:
        """The place of a track's first edge in a chunk; a period of the wheel holds one."""
        near = np.flatnonzero(chunk.track[: len(self._levels)] == track)
        return int(near[0]) if len(near) else None

    def _turned_over(self, begin_s: Fraction, like: EdgeChunk) -> EdgeChunk:
        """The edges that are seen at the moment at which the wheel turns back.

        A half-wave that begins at standstill is too weak wherever there is a threshold.
        """
        tracks = []
        for track, high in self._high.items():
            if self._seen.get(track, True):
                tracks.append(track)
            self._high[track] = not high
            if track in self._seen:
                self._seen[track] = False
        levels = [int(self._high[track]) for track in tracks]
        passage = np.full(len(tracks), NO_TOOTH, np.int64) if like.passage is not None else None
        return EdgeChunk(
            np.full(len(tracks), round(begin_s * self._tick_hz), np.int64),
            np.array(tracks, np.uint8),
            np.array(levels, np.uint8),
            passage,
        )

    def _half_waves(self, stretch: Stretch) -> HalfWaves:
        return self._waves.of(stretch.ripple, stretch.advance_deg)

    def _last_before(self, begin_s: Fraction) -> Stretch | None:
        """The stretch that holds the moment before a time."""
        stretch = self._course.at(begin_s)
        if stretch is None or stretch.begin_s < begin_s:
            return stretch
        return self._course.before(stretch)

    def _way_of(self, stretch: Stretch | None) -> int:
        """The direction in which the wheel turned last; forward if it never did."""
        while stretch is not None and stretch.direction == 0:
            stretch = self._course.before(stretch)
        return stretch.direction if stretch is not None else 1

    def _level(self, track: int, gap: int) -> int:
        """The sign of a track's voltage in a gap: what the crossing last passed made of it."""
        return self._levels.level[self._crossing(track, gap) % len(self._levels)]

    def _crossing(self, track: int, gap: int) -> int:
        """The track's crossing nearest to a gap on the side that the wheel comes from."""
        n = len(self._levels)
        edges = range(gap - 1, gap - 1 - n, -1) if self._way > 0 else range(gap, gap + n)
        return next(edge for edge in edges if self._levels.track[edge % n] == track)

    def _rise_seen(self, track: int, gap: int, stretch: Stretch | None) -> bool:
        """Whether the half-wave is seen that is under way in a gap, late in a stretch.

        It began at the last crossing, where the wheel turned back, or before the motion.
        """
        edge = self._crossing(track, gap)
        while stretch is not None:
            begin, before = self._begin_gap(stretch), self._course.before(stretch)
            if stretch.direction and (edge >= begin) == (stretch.direction > 0):
                return self._edge_seen(edge, stretch, stretch.ticks(edge, edge + 1))
            if stretch.direction and self._way_of(before) != stretch.direction:
                return False
            stretch = before
        return self._seen_at_start(edge)

    def _seen_at_start(self, edge: int) -> bool:
        """Whether a half-wave under way when the motion begins is seen, by the speed then."""
        first = self._course.at(Fraction(0))
        return first is not None and self._edge_seen(edge, first, np.zeros(1, np.int64))

    def _edge_seen(self, edge: int, stretch: Stretch, tick: Ticks) -> bool:
        return self._half_waves(stretch).rise_seen(edge, self._way, stretch.mean_rpm(tick))
