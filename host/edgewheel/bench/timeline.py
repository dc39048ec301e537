"""The board's clock against the host's, from round trips: a POLL and the STATUS that answers it.

The board read its clock somewhere between the host's asking and its hearing, so each round trip
bounds the host time of one tick; its middle is off by at most half the trip. A line through the
middles, the short trips weighing most, gives offset and drift.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

NS_PER_S = 1_000_000_000
WINDOW = 300
"""Round trips that are remembered: a minute's worth at five a second."""

LEAST_FOR_DRIFT = 8
LEAST_SPAN_S = 0.5
"""Fewer trips, or closer together, leave the board's clock at its nominal rate."""

JUMP_NS = 2_000_000
"""A trip further than this from the line means that a clock has jumped, not that it drifts."""

PAUSE_NS = 10 * NS_PER_S
"""After so long without a trip, between runs, the line is begun anew: clocks drift meanwhile."""


@dataclass(frozen=True)
class ClockFit:
    """What the round trips say of the board's clock.

    `drift_ppm` is how much faster than nominal it runs by the host's clock, `residual_ns` the root
    mean square of the trips about the line, `uncertainty_ns` the most by which a converted moment
    may be off: half the shortest trip, since its asymmetry is unknown, and the residual.
    """

    drift_ppm: float
    residual_ns: float
    uncertainty_ns: float
    trips: int
    jumps: int


class Timeline:
    """Converts between board ticks and host nanoseconds, better with every round trip."""

    def __init__(self, tick_hz: int) -> None:
        self.tick_hz = tick_hz
        self._ns_per_tick = NS_PER_S / tick_hz
        self._trips: deque[tuple[int, int, int]] = deque(maxlen=WINDOW)
        self._tick0 = self._ns0 = 0
        self._offset_ns = 0.0
        self._rate = 1.0
        self._residual_ns = 0.0
        self._jumps = 0

    @property
    def fit(self) -> ClockFit:
        """How well it is known."""
        shortest = min((half for _, _, half in self._trips), default=0)
        return ClockFit(
            (1 / self._rate - 1) * 1e6,
            self._residual_ns,
            shortest + self._residual_ns,
            len(self._trips),
            self._jumps,
        )

    def round_trip(self, asked_ns: int, tick: int, received_ns: int) -> None:
        """The board's clock showed `tick` between two moments of the host's."""
        half = max((received_ns - asked_ns) // 2, 1)
        middle = asked_ns + half
        if self._trips and middle - self._ns0 > PAUSE_NS:
            self._trips.clear()
        elif self._trips and abs(self.ns(tick) - middle) > half + JUMP_NS:
            self._jumps += 1
            self._trips.clear()
        self._trips.append((tick, middle, half))
        self._refit()

    def ns(self, tick: int) -> int:
        """The host's time at a board tick."""
        nominal = (tick - self._tick0) * self._ns_per_tick
        return self._ns0 + round(self._offset_ns + nominal * self._rate)

    def tick(self, ns: int) -> int:
        """The board's tick at a host time; 0 before anything is known or the board woke."""
        if not self._trips:
            return 0
        since = (ns - self._ns0 - self._offset_ns) / self._rate
        return max(self._tick0 + round(since / self._ns_per_tick), 0)

    def uncertainty_ticks(self) -> int:
        """The uncertainty of a conversion, in ticks, rounded up."""
        return int(-(-self.fit.uncertainty_ns // self._ns_per_tick))

    def _refit(self) -> None:
        self._tick0, self._ns0, _ = self._trips[-1]
        ticks, middles, halves = (np.array(column) for column in zip(*self._trips, strict=True))
        nominal = (ticks - self._tick0) * self._ns_per_tick
        late = (middles - self._ns0) - nominal
        weight = 1.0 / np.square(halves.astype(np.float64))
        mean_x, mean_y = np.average(nominal, weights=weight), np.average(late, weights=weight)
        spread = np.average(np.square(nominal - mean_x), weights=weight)
        slope = 0.0
        if len(ticks) >= LEAST_FOR_DRIFT and np.ptp(nominal) >= LEAST_SPAN_S * NS_PER_S:
            slope = np.average((nominal - mean_x) * (late - mean_y), weights=weight) / spread
        self._rate = 1.0 + float(slope)
        self._offset_ns = float(mean_y - slope * mean_x)
        left = late - self._offset_ns - slope * nominal
        self._residual_ns = float(np.sqrt(np.average(np.square(left), weights=weight)))
