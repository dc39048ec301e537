"""VR sensors under a motion: the voltage that turns over with the wheel and shrinks with speed.

A half-wave is seen if its peak reaches the input's threshold; the peak is reckoned when the
half-wave begins, from the mean speed then and the ripple and run-out at its middle, where the
tooth's flank is. One that is not seen takes its rise and its fall with it, so levels alternate. It
reaches no further than that, and no result depends on where chunks end.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from edgewheel.edges.levels import LevelTable, VrTrack
from edgewheel.edges.phase import Floats, repeats_of
from edgewheel.edges.stretch import Course, Stretch
from edgewheel.edges.table import NO_TOOTH, EdgeChunk, Ticks, join
from edgewheel.motion.ripple import Ripple

Flags = npt.NDArray[np.bool_]


class HalfWaves:
    """How strong the half-wave is that begins at each rise, by its column, under one ripple."""

    def __init__(self, levels: LevelTable, ripple: Ripple | None, advance_deg: Fraction) -> None:
        rows = len(levels)
        self._repeats = repeats_of(levels.period, ripple)
        self._levels = levels
        self._ripple = ripple
        self._advance_deg = advance_deg
        self._n = rows * self._repeats
        self._ratio = np.ones((2, self._n))
        self._share_per_rpm = np.full((2, self._n), np.inf)
        self._knee_rpm = np.full(self._n, np.inf)
        for one in levels.vr:
            if one.amplitude is not None:
                self._enter(one)

    def seen(self, edges: Ticks, direction: int, mean_rpm: Floats) -> Flags:
        """Whether the half-wave (n,) that begins at each edge reaches the threshold."""
        columns, way = edges % self._n, int(direction < 0)
        rpm = np.minimum(mean_rpm * self._ratio[way][columns], self._knee_rpm[columns])
        seen: Flags = rpm * self._share_per_rpm[way][columns] >= 1
        return seen

    def _enter(self, one: VrTrack) -> None:
        """The columns of one track."""
        levels, amplitude = self._levels, one.amplitude
        assert amplitude is not None
        own = [row for row, track in enumerate(levels.track) if track == one.track]
        for place, row in enumerate(own):
            begin = levels.angles[row]
            ahead = (levels.angles[own[(place + 1) % len(own)]] - begin) % levels.period
            behind = (begin - levels.angles[own[place - 1]]) % levels.period
            for way, middle in enumerate((begin + ahead / 2, begin - behind / 2)):
                turned = (middle - amplitude.closest_at * one.turn_deg / 360) / one.turn_deg
                strength = 1 + float(amplitude.run_out) * math.cos(2 * math.pi * float(turned % 1))
                share = float(amplitude.mv_per_rpm / amplitude.threshold_mv) * strength
                for repeat in range(self._repeats):
                    column = row + repeat * len(levels)
                    self._share_per_rpm[way, column] = share
                    self._ratio[way, column] = self._ratio_at(middle + repeat * levels.period)
                    if amplitude.knee_rpm is not None:
                        self._knee_rpm[column] = float(amplitude.knee_rpm)

    def _ratio_at(self, angle_deg: Fraction) -> float:
        if self._ripple is None:
            return 1.0
        return self._ripple.speed_ratio(angle_deg - self._advance_deg)


class VrSignal:
    """Makes of the crossings of VR tracks what the controller's pins see, from one time on.

    Where the wheel turns back the voltage changes sign at that moment: an edge amid a half-wave.
    """

    def __init__(
        self,
        levels: LevelTable,
        course: Course,
        tick_hz: int,
        begin_s: Fraction,
        gap: int,
        *,
        passages: bool = False,
    ) -> None:
        """With `passages`, the chunks have a column of that name."""
        self._passages = passages
        self._levels = levels
        self._course = course
        self._tick_hz = tick_hz
        self._waves: dict[tuple[Ripple | None, Fraction], HalfWaves] = {}
        self._weak = [one.track for one in levels.vr if one.amplitude is not None]
        last = self._last_before(begin_s)
        self._way = self._way_of(last)
        self._raw = {one.track: self._level(one.track, gap, self._way) for one in levels.vr}
        self._seen = {
            track: bool(self._raw[track]) and self._rise_seen(track, gap, last)
            for track in self._weak
        }

    def pin_levels(self) -> dict[int, int]:
        """Level by track at the controller's pins, as things stand."""
        return {
            track: int(level and self._seen.get(track, True)) for track, level in self._raw.items()
        }

    def add(self, chunk: EdgeChunk, stretch: Stretch, low: int, high: int) -> EdgeChunk:
        """What is seen of edges `low` to `high`, in the order of time, as they pass in a stretch.

        `chunk` may hold none: a wheel may turn back between two edges.
        """
        seen = np.ones(len(chunk), np.bool_)
        if self._weak and len(chunk):
            edges = np.arange(low, high)[:: stretch.direction or 1]
            waves = self._half_waves(stretch)
            seen = waves.seen(edges, stretch.direction, stretch.mean_rpm(chunk.ticks))
        if stretch.direction and stretch.direction != self._way:
            self._way = stretch.direction
            turned = self._turned_over(stretch.begin_s)
            chunk = join(turned, chunk)
            seen = np.concatenate([np.zeros(len(turned), np.bool_), seen])
        keep = np.ones(len(chunk), np.bool_)
        for track in self._raw:
            self._keep(track, chunk, seen, keep)
        return chunk if keep.all() else chunk[keep]

    def _keep(self, track: int, chunk: EdgeChunk, seen: Flags, keep: Flags) -> None:
        """Strike out the track's half-waves that are not seen; take note of how it stands then."""
        own = np.flatnonzero(chunk.track == track)
        if not len(own):
            return
        rises, strong = chunk.level[own] == 1, seen[own]
        self._raw[track] = int(rises[-1])
        if track in self._seen:
            before = np.concatenate([[self._seen[track]], strong[:-1]])
            keep[own] = np.where(rises, strong, before)
            self._seen[track] = bool(rises[-1] and strong[-1])

    def _turned_over(self, begin_s: Fraction) -> EdgeChunk:
        """The edge of every track at the moment at which the wheel turns back."""
        tracks = [track for track in self._raw if track in self._levels.track]
        ticks = np.full(len(tracks), round(begin_s * self._tick_hz), np.int64)
        levels = [1 - self._raw[track] for track in tracks]
        passage = np.full(len(tracks), NO_TOOTH, np.int64) if self._passages else None
        return EdgeChunk(ticks, np.array(tracks, np.uint8), np.array(levels, np.uint8), passage)

    def _half_waves(self, stretch: Stretch) -> HalfWaves:
        key = stretch.ripple, stretch.advance_deg
        if key not in self._waves:
            self._waves[key] = HalfWaves(self._levels, *key)
        return self._waves[key]

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

    def _level(self, track: int, gap: int, way: int) -> int:
        """The sign of a track's voltage in a gap: what the crossing last passed made of it."""
        edge = self._crossing(track, gap, way)
        return self._levels.level[edge % len(self._levels)] if edge is not None else 0

    def _crossing(self, track: int, gap: int, way: int) -> int | None:
        """The track's crossing nearest to a gap on the side that the wheel comes from."""
        n = len(self._levels)
        edges = range(gap - 1, gap - 1 - n, -1) if way > 0 else range(gap, gap + n)
        return next((edge for edge in edges if self._levels.track[edge % n] == track), None)

    def _rise_seen(self, track: int, gap: int, stretch: Stretch | None) -> bool:
        """Whether the half-wave is seen that is under way in a gap, at the end of a stretch's part.

        It began at the last crossing, where the wheel turned back, or before the motion.
        """
        edge = self._crossing(track, gap, self._way)
        assert edge is not None
        while stretch is not None:
            before = self._course.before(stretch)
            begin = before.gap_at(before.end_s) if before else stretch.gap_at(stretch.begin_s)
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
        waves, rpm = self._half_waves(stretch), stretch.mean_rpm(tick)
        return bool(waves.seen(np.array([edge]), self._way, rpm)[0])
