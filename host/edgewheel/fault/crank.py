"""The crank of a motion: its way and speed at a tick, and when it will have turned further."""

from __future__ import annotations

from fractions import Fraction
from typing import cast

import numpy as np

from edgewheel.edges.phase import Floats
from edgewheel.edges.table import Ticks
from edgewheel.fault.window import EVER, Bools
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import DEG_PER_S_PER_RPM

NANODEG = 1_000_000_000


class Crank:
    """Speeds and ways by tick, elementwise; the motion may grow.

    The way is the mean degrees turned since the start, either way, so it never shrinks.
    """

    def __init__(self, motion: Motion, tick_hz: int) -> None:
        self._motion = motion
        self._tick_hz = tick_hz
        self._taken = 0
        self._rows: list[tuple[float, float, float, float, float]] = []
        self._ways: list[float] = []
        self._onward: list[bool] = []
        self._way = Fraction(0)
        self._ratios: dict[tuple[int, int], float] = {}

    def rpm(self, ticks: Ticks, angles_deg: Floats | None = None) -> Floats:
        """Speed (n,) at each tick, without sign; with the ripple at `angles_deg` if given."""
        begin, speed, rate, seconds, _ = self._columns(ticks)
        within = np.clip(ticks / self._tick_hz - begin, 0, seconds)
        rpm = (speed + rate * within) / DEG_PER_S_PER_RPM
        if angles_deg is not None:
            rpm = rpm * self._ripple_ratio(ticks, angles_deg)
        return cast(Floats, rpm)

    def onward(self, ticks: Ticks) -> Bools:
        """Whether it turns forward (n,) at each tick, or did so last where it stands."""
        self._take()
        onward: Bools = np.array(self._onward)[self._places(ticks)]
        return onward

    def later(self, ticks: Ticks, degrees: Floats) -> Ticks:
        """The tick (n,) at which the crank has turned so many degrees (n, >= 0) further.

        `EVER` if the motion ends before.
        """
        begin, speed, rate, seconds, way = self._columns(ticks)
        within = np.clip(ticks / self._tick_hz - begin, 0, seconds)
        turned = (speed + rate * within / 2) * within
        target = way + turned + self._mean_degrees(ticks, turned, degrees)
        place = np.clip(np.searchsorted(self._ways, target) - 1, 0, len(self._rows) - 1)
        table = np.array(self._rows)[place]
        left = target - table[:, 4]
        root = np.sqrt(np.maximum(table[:, 1] ** 2 + 2 * table[:, 2] * left, 0))
        pace = table[:, 1] + root
        seconds = table[:, 0] + 2 * left / np.where(pace > 0, pace, 1)
        after = np.rint(seconds * self._tick_hz).astype(np.int64)
        over = target > float(self._way) + 1 / NANODEG
        return cast(Ticks, np.where(over, EVER, np.maximum(after, ticks)))

    def _mean_degrees(self, ticks: Ticks, turned: Floats, degrees: Floats) -> Floats:
        """Mean degrees (n,) that the crank turns while it turns so many, each from a tick on.

        It has `turned` (n,) mean degrees of its segment by then.
        """
        rows = zip(self._places(ticks).tolist(), turned.tolist(), degrees.tolist(), strict=True)
        return np.array([self._mean_way(*row) for row in rows])

    def _mean_way(self, place: int, turned: float, degrees: float) -> float:
        placed = self._motion[place]
        ripple, sign = placed.segment.ripple, placed.segment.direction
        if ripple is None or not degrees:
            return degrees
        mean_deg = placed.begin_mean_deg % ripple.period_deg + sign * Fraction(turned)
        lag_deg = ripple.lag_deg(mean_deg)
        lead_deg = ripple.lead_deg(mean_deg - Fraction(lag_deg) + sign * Fraction(degrees))
        return degrees + sign * (lead_deg - lag_deg)

    def _columns(self, ticks: Ticks) -> Floats:
        """Begin, speed, rate, length and way (5, n) of the segment that each tick lies in."""
        self._take()
        return cast(Floats, np.array(self._rows)[self._places(ticks)].T)

    def _take(self) -> None:
        """Take note of what the motion has got since."""
        while self._taken < len(self._motion):
            placed = self._motion[self._taken]
            segment = placed.segment
            speed = float(abs(segment.rpm_begin)) * DEG_PER_S_PER_RPM
            end = float(abs(segment.rpm_end)) * DEG_PER_S_PER_RPM
            length = float(segment.seconds)
            row = (float(placed.begin_s), speed, (end - speed) / length, length, float(self._way))
            self._rows.append(row)
            self._ways.append(float(self._way))
            stood_onward = not self._onward or self._onward[-1]
            self._onward.append(segment.direction > 0 or (not segment.direction and stood_onward))
            self._way += abs(segment.mean_deg)
            self._taken += 1

    def _places(self, ticks: Ticks) -> Ticks:
        begins = np.array([row[0] for row in self._rows])
        place = np.searchsorted(begins, ticks / self._tick_hz, "right") - 1
        return cast(Ticks, np.maximum(place, 0))

    def _ripple_ratio(self, ticks: Ticks, angles_deg: Floats) -> Floats:
        """Speed over mean speed (n,), each angle of each segment computed once."""
        pairs = np.stack([self._places(ticks), np.rint(angles_deg * NANODEG).astype(np.int64)])
        unique, inverse = np.unique(pairs, axis=1, return_inverse=True)
        ratios = [self._ratio(int(place), int(angle)) for place, angle in unique.T.tolist()]
        return np.array(ratios)[inverse.reshape(-1)]

    def _ratio(self, place: int, nanodeg: int) -> float:
        ripple = self._motion[place].segment.ripple
        if ripple is None:
            return 1.0
        if (place, nanodeg) not in self._ratios:
            self._ratios[place, nanodeg] = ripple.speed_ratio(Fraction(nanodeg, NANODEG))
        return self._ratios[place, nanodeg]
