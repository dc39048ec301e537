"""Where a controller finds each edge of a cam, counted in crank degrees from its reference tooth.

Between two teeth it knows the crank by the pace of the last tooth period only:

    place = angle of the last tooth + (cam edge's time - its time) x degrees / time of that period

so speed that changes within a turn moves the place, and so does a cam whose timing varies.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable, wheel_levels
from edgewheel.edges.phase import Floats
from edgewheel.edges.table import NO_TOOTH, EdgeChunk, Ticks
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.wheel.model import Wheel

TICK_HZ = 1_000_000_000
CYCLE_DEG = 720.0
_BEFORE = 2
"""Crank edges before one of the cam that its place needs."""


@dataclass(frozen=True)
class CamPlace:
    """One edge of the cam in a cycle, in crank degrees after the reference.

    `nominal_deg` is where the wheel has it, in [0, 720); `earliest_deg` to `latest_deg` where the
    controller finds it under the motion, `count` times.
    """

    rises: bool
    nominal_deg: float
    earliest_deg: float
    latest_deg: float
    count: int


def cam_places(
    wheel: Wheel,
    motion: Motion,
    crank: str,
    crank_rises: bool,
    cam: str,
    reference_deg: Fraction,
    least_rpm: float = 0.0,
) -> tuple[CamPlace, ...]:
    """The places of the edges of the track `cam`, by the rises or falls of the track `crank`.

    Slower than `least_rpm`, and before two crank edges, nothing counts; an edge that is never met
    is left out. Both tracks are taken as sensors that no signal is too weak for see them.
    """
    names = [track.name for track in wheel.tracks]
    table = wheel_levels(wheel).without_amplitudes().only([names.index(crank), names.index(cam)])
    pattern = _Pattern(table, names.index(cam), float(reference_deg))
    tally = dict.fromkeys(pattern.nominal, (np.inf, -np.inf, 0))
    for key, offsets in _offsets(
        table, motion, names.index(crank), crank_rises, pattern, least_rpm
    ):
        low, high, count = tally[key]
        tally[key] = (
            min(low, float(offsets.min())),
            max(high, float(offsets.max())),
            count + len(offsets),
        )
    return tuple(
        CamPlace(bool(key & 1), at, at + tally[key][0], at + tally[key][1], tally[key][2])
        for key, at in sorted(pattern.nominal.items(), key=lambda item: item[1])
        if tally[key][2]
    )


class _Pattern:
    """Angles of the tracks' edges by passage and level: key = 2 x passage in the cycle + level."""

    def __init__(self, table: LevelTable, cam: int, reference_deg: float) -> None:
        self._table = table
        self._cam = cam
        self._repeats = round(CYCLE_DEG / table.period)
        self._angles = [np.full(2 * n * self._repeats, np.nan) for n in table.passages]
        rows = zip(table.angles, table.track, table.level, table.passage, strict=True)
        for angle, track, level, passage in rows:
            for repeat in range(self._repeats):
                turned = passage + repeat * table.passages[track]
                key = 2 * (turned % (table.passages[track] * self._repeats)) + level
                self._angles[track][key] = float(angle) + repeat * table.period - reference_deg
        self.nominal = {
            key: float(at) % CYCLE_DEG
            for key, at in enumerate(self._angles[cam])
            if not np.isnan(at)
        }

    def keys(self, chunk: EdgeChunk, track: int) -> Ticks:
        """The key of each edge (n,) of one track."""
        assert chunk.passage is not None
        count = self._table.passages[track] * self._repeats
        return 2 * (chunk.passage % count) + chunk.level

    def angles(self, chunk: EdgeChunk, track: int) -> Floats:
        """Crank degrees (n,) after the reference, whole cycles left out."""
        angles: Floats = self._angles[track][self.keys(chunk, track)]
        return angles


def _offsets(
    table: LevelTable,
    motion: Motion,
    crank: int,
    crank_rises: bool,
    pattern: _Pattern,
    least_rpm: float,
) -> Iterator[tuple[int, Floats]]:
    """By how much (n,) each edge of the cam is found beside its nominal place, piece by piece."""
    cam = next(track for track in set(table.track) if track != crank)
    ticks, angles = np.zeros(0, np.int64), np.zeros(0)
    for chunk in EdgeCompiler(table, motion, TICK_HZ, passages=True).chunks():
        assert chunk.passage is not None
        chunk = chunk[np.flatnonzero(chunk.passage != NO_TOOTH)]
        teeth = chunk[np.flatnonzero((chunk.track == crank) & (chunk.level == int(crank_rises)))]
        ticks = np.concatenate([ticks, teeth.ticks])
        angles = np.concatenate([angles, pattern.angles(teeth, crank)])
        marks = chunk[np.flatnonzero(chunk.track == cam)]
        marks = marks[np.flatnonzero(np.isin(pattern.keys(marks, cam), list(pattern.nominal)))]
        after = np.searchsorted(ticks, marks.ticks, side="left") - 1
        known = np.flatnonzero(after >= 1)
        if len(known):
            keys = pattern.keys(marks, cam)[known]
            found, counts = _found(ticks, angles, marks.ticks[known], after[known], least_rpm)
            nominal = np.array([pattern.nominal[int(key)] for key in keys])
            offsets = (found - nominal + CYCLE_DEG / 2) % CYCLE_DEG - CYCLE_DEG / 2
            for key in np.unique(keys[counts]):
                yield int(key), offsets[counts & (keys == key)]
        ticks, angles = ticks[-_BEFORE:], angles[-_BEFORE:]


def _found(
    ticks: Ticks, angles: Floats, marks: Ticks, after: Ticks, least_rpm: float
) -> tuple[Floats, npt.NDArray[np.bool_]]:
    """Crank degrees (n,) at the marks, and which of them come at speed and turning forward."""
    seconds = (ticks[after] - ticks[after - 1]) / TICK_HZ
    degrees = (angles[after] - angles[after - 1]) % CYCLE_DEG
    pace: Floats = degrees / seconds
    found = angles[after] + (marks - ticks[after]) / TICK_HZ * pace
    counts = (pace >= DEG_PER_S_PER_RPM * least_rpm) & (degrees < CYCLE_DEG / 2)
    return found, counts
