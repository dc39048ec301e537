"""How strong a VR sensor's half-waves are, by column of the level table and speed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from edgewheel.edges.levels import LevelTable, VrTrack
from edgewheel.edges.phase import BLOCK_EDGES, Floats, repeats_of
from edgewheel.edges.table import Ticks
from edgewheel.motion.ripple import Ripple

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class _Columns:
    """One direction's half-waves, n columns repeated for a block of edges and more.

    A rise (n,) is seen if min(mean rpm x `ratio`, `knee_rpm`) >= `least_rpm`; the rise of a fall
    passed `back` (n,) edges before it. Tracks that are always seen are at 0 rpm, too.
    """

    ratio: Floats
    knee_rpm: Floats
    least_rpm: Floats
    back: Ticks

    def repeated(self, times: int) -> _Columns:
        """The same columns over and over."""
        return _Columns(
            np.tile(self.ratio, times),
            np.tile(self.knee_rpm, times),
            np.tile(self.least_rpm, times),
            np.tile(self.back, times),
        )

    def seen(self, part: slice, mean_rpm: Floats | float) -> Flags:
        """Whether the half-waves that rises in a part of the columns begin are seen."""
        rpm = np.minimum(mean_rpm * self.ratio[part], self.knee_rpm[part])
        seen: Flags = rpm >= self.least_rpm[part]
        return seen


class HalfWaves:
    """The half-waves of a level table under one ripple, of tracks that run ahead."""

    def __init__(self, levels: LevelTable, ripple: Ripple | None, advance_deg: Fraction) -> None:
        self._levels = levels
        self._ripple = ripple
        self._advance_deg = advance_deg
        self._repeats = repeats_of(levels.period, ripple)
        self._n = len(levels) * self._repeats
        self._ways: dict[int, _Columns] = {}
        self._steady: dict[tuple[int, float], Flags] = {}

    def seen(self, low: int, high: int, way: int, mean_rpm: Floats | float) -> Flags:
        """Whether the half-wave of each of edges `low` to `high` is seen, in the order of time.

        `mean_rpm` is one speed or the speed (high - low,) at each, in the order of time. Where the
        rise that began a half-wave is not among the edges, what is said of its fall means nothing.
        """
        column = low % self._n
        window = slice(column, column + high - low)
        if isinstance(mean_rpm, float):
            return self._steady_run(way, mean_rpm)[window][::way]
        columns = self._columns(way)
        rises = columns.seen(window, mean_rpm[::way])[::way]
        rise = np.arange(high - low) - columns.back[window][::way]
        seen: Flags = rises[np.maximum(rise, 0)]
        return seen

    def rise_seen(self, edge: int, way: int, mean_rpm: Floats | float) -> bool:
        """Whether the half-wave that a rise begins is seen, at one speed."""
        column = edge % self._n
        return bool(self._columns(way).seen(slice(column, column + 1), mean_rpm)[0])

    def weakest(self, mean_rpm: float) -> float:
        """The least peak of a half-wave over its input's threshold, turning forward.

        Infinite where no amplitude is known.
        """
        columns = self._columns(1)
        judged = columns.least_rpm > 0
        rpm = np.minimum(mean_rpm * columns.ratio, columns.knee_rpm)[judged]
        return float((rpm / columns.least_rpm[judged]).min(initial=np.inf))

    def _steady_run(self, way: int, mean_rpm: float) -> Flags:
        key = way, mean_rpm
        if key not in self._steady:
            columns, n = self._columns(way), self._n
            rise = (np.arange(n) - way * columns.back[:n]) % n
            seen = columns.seen(slice(0, n), mean_rpm)[rise]
            self._steady = {key: np.tile(seen, len(columns.back) // n)}
        return self._steady[key]

    def _columns(self, way: int) -> _Columns:
        if way not in self._ways:
            n = self._n
            columns = _Columns(np.ones(n), np.full(n, np.inf), np.zeros(n), np.zeros(n, np.int64))
            for one in self._levels.vr:
                if one.amplitude is not None:
                    self._enter(one, way, columns)
            self._ways[way] = columns.repeated(2 + BLOCK_EDGES // max(n, 1))
        return self._ways[way]

    def _enter(self, one: VrTrack, way: int, into: _Columns) -> None:
        """The columns of one track, turning one way."""
        levels, amplitude = self._levels, one.amplitude
        assert amplitude is not None
        rows = len(levels)
        own = [row for row, track in enumerate(levels.track) if track == one.track]
        for place, row in enumerate(own):
            columns = slice(row, self._n, rows)
            if levels.level[row] == 0:
                into.back[columns] = (way * (row - own[(place - way) % len(own)])) % rows
                continue
            ahead = levels.angles[own[(place + way) % len(own)]]
            half_deg = (way * (ahead - levels.angles[row])) % levels.period / 2
            middle = levels.angles[row] + way * half_deg
            into.least_rpm[columns] = _least_rpm(one, middle)
            into.ratio[columns] = [
                self._ratio_at(middle + repeat * levels.period) for repeat in range(self._repeats)
            ]
            if amplitude.knee_rpm is not None:
                into.knee_rpm[columns] = float(amplitude.knee_rpm)

    def _ratio_at(self, angle_deg: Fraction) -> float:
        """Speed over mean speed where the tracks are at an angle."""
        if self._ripple is None:
            return 1.0
        return self._ripple.speed_ratio(angle_deg - self._advance_deg)


class HalfWaveTables:
    """The half-waves of one level table, each made once."""

    def __init__(self, levels: LevelTable) -> None:
        self._levels = levels
        self._made: dict[tuple[Ripple | None, Fraction], HalfWaves] = {}

    def of(self, ripple: Ripple | None, advance_deg: Fraction) -> HalfWaves:
        """The half-waves under a ripple, of tracks that run ahead. Raises UsageError."""
        key = ripple, advance_deg
        if key not in self._made:
            self._made[key] = HalfWaves(self._levels, ripple, advance_deg)
        return self._made[key]


def _least_rpm(one: VrTrack, middle_deg: Fraction) -> float:
    """Speed at which a half-wave whose middle is at an angle peaks at the threshold; infinite where
    run-out leaves nothing of it.
    """
    amplitude = one.amplitude
    assert amplitude is not None and amplitude.threshold_mv is not None
    turned = (middle_deg / one.turn_deg - amplitude.closest_at / 360) % 1
    strength = 1 + float(amplitude.run_out) * math.cos(2 * math.pi * float(turned))
    rpm = float(amplitude.threshold_mv / amplitude.mv_per_rpm)
    return rpm / strength if strength > 0 else math.inf
