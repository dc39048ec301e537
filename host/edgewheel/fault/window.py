"""When a fault is there: a stretch of time, of turns, a range of speed, or all of them together."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

import numpy as np
import numpy.typing as npt

from edgewheel.edges.table import Ticks
from edgewheel.fault.fields import Bounds
from edgewheel.motion.motion import Motion, Placed, mean_angle, true_angle
from edgewheel.motion.segment import DEG_PER_S_PER_RPM, HIGHEST_RPM
from edgewheel.wheel.model import TURN

Bools = npt.NDArray[np.bool_]

EVER = 1 << 61
"""A tick that no run reaches; its negative is before every run."""

LONGEST_S = 10**8
MOST_TURNS = 10**10
_ROOT_BITS = 256


@dataclass(frozen=True)
class Window:
    """The conditions that must all hold; None asks nothing.

    - `from_s` to `to_s`: seconds after table tick 0, the end excluded;
    - `from_turn` to `to_turn`: crank turns made since the start, either way, the end excluded;
    - `from_rpm` to `to_rpm`: speed of the motion without its ripple, either way, ends included.
    """

    from_s: Annotated[Fraction | None, Bounds(0, LONGEST_S)] = None
    to_s: Annotated[Fraction | None, Bounds(above=0, maximum=LONGEST_S)] = None
    from_turn: Annotated[Fraction | None, Bounds(0, MOST_TURNS)] = None
    to_turn: Annotated[Fraction | None, Bounds(above=0, maximum=MOST_TURNS)] = None
    from_rpm: Annotated[Fraction | None, Bounds(0, HIGHEST_RPM)] = None
    to_rpm: Annotated[Fraction | None, Bounds(above=0, maximum=HIGHEST_RPM)] = None

    @property
    def open(self) -> bool:
        """Whether nothing is asked."""
        return self == Window()


ALWAYS = Window()


class Spans:
    """The stretches of a motion in which a window is open, as [begin, end) in ticks.

    Begins and ends are rounded as edges are, so an edge on the border of a turn is on the right
    side of it. A stretch that is open at the start has no begin, one still open at the end of the
    motion no end. The motion may grow.
    """

    def __init__(self, window: Window, motion: Motion, tick_hz: int) -> None:
        self._window = window
        self._motion = motion
        self._tick_hz = tick_hz
        self._taken = 0
        self._angle_deg = motion.start_deg
        self._path_deg = Fraction(0)
        self._begins: list[int] = [-EVER] if window.open else []
        self._ends: list[int] = [EVER] if window.open else []

    def inside(self, ticks: Ticks) -> Bools:
        """Whether the window is open at each of `ticks` (n,)."""
        if self._window.open:
            return np.ones(len(ticks), np.bool_)
        begins, ends = self.stretches()
        place = np.searchsorted(begins, ticks, "right") - 1
        inside: Bools = (place >= 0) & (ticks < ends[np.maximum(place, 0)])
        return inside

    def stretches(self) -> tuple[Ticks, Ticks]:
        """Begins and ends (n,), ascending, of the motion as it is now; a last one may be void."""
        while not self._window.open and self._taken < len(self._motion):
            self._take(self._motion[self._taken])
            self._taken += 1
        if not self._begins:
            return np.array([EVER]), np.array([EVER])
        ends = [*self._ends[:-1], self._open_end(self._ends[-1])]
        return np.array(self._begins, np.int64), np.array(ends, np.int64)

    def _open_end(self, end: int) -> int:
        """No end, if the window is open when the motion ends."""
        return EVER if end >= round(self._motion.end_s * self._tick_hz) else end

    def _take(self, placed: Placed) -> None:
        """Add the stretch within one segment, where each condition holds from when to when."""
        low, high = placed.begin_s, placed.end_s
        for begin_s, end_s in (self._time(), self._speed(placed), self._turns(placed)):
            low, high = max(low, begin_s), min(high, end_s)
        end_deg = true_angle(placed.end_mean_deg, placed.segment.ripple)
        self._path_deg += abs(end_deg - self._angle_deg)
        self._angle_deg = end_deg
        if low < high:
            begin, end = (round(s * self._tick_hz) for s in (low, high))
            begin = -EVER if begin <= 0 else begin
            if self._ends and begin == self._ends[-1]:
                self._ends[-1] = end
            else:
                self._begins.append(begin)
                self._ends.append(end)

    def _time(self) -> tuple[Fraction, Fraction]:
        from_s, to_s = self._window.from_s, self._window.to_s
        return from_s or Fraction(0), Fraction(LONGEST_S) if to_s is None else to_s

    def _speed(self, placed: Placed) -> tuple[Fraction, Fraction]:
        segment = placed.segment
        low = self._window.from_rpm or Fraction(0)
        high = Fraction(HIGHEST_RPM) if self._window.to_rpm is None else self._window.to_rpm
        first, last = abs(segment.rpm_begin), abs(segment.rpm_end)
        if first == last:
            inside = low <= first <= high
            return (placed.begin_s, placed.end_s) if inside else (placed.end_s, placed.begin_s)
        rate = (last - first) / segment.seconds
        times = sorted(placed.begin_s + (rpm - first) / rate for rpm in (low, high))
        return times[0], times[1]

    def _turns(self, placed: Placed) -> tuple[Fraction, Fraction]:
        from_turn, to_turn = self._window.from_turn, self._window.to_turn
        begin = self._reaches(placed, from_turn) if from_turn else placed.begin_s
        return begin, placed.end_s if to_turn is None else self._reaches(placed, to_turn)

    def _reaches(self, placed: Placed, turns: Fraction) -> Fraction:
        """When so many turns have been made, held within the segment's begin and end."""
        left_deg = turns * TURN - self._path_deg
        if left_deg <= 0:
            return placed.begin_s
        segment = placed.segment
        angle_deg = self._angle_deg + segment.direction * left_deg
        mean_deg = abs(mean_angle(angle_deg, segment.ripple) - placed.begin_mean_deg)
        if mean_deg >= abs(segment.mean_deg):
            return placed.end_s
        return placed.begin_s + seconds_to(placed, mean_deg)


def seconds_to(placed: Placed, path_deg: Fraction) -> Fraction:
    """Seconds in which a segment makes a way: t = 2 u / (w + sqrt(w^2 + 2 a u)), to 2^-128."""
    segment = placed.segment
    speed = abs(segment.rpm_begin) * DEG_PER_S_PER_RPM
    rate = (abs(segment.rpm_end) - abs(segment.rpm_begin)) * DEG_PER_S_PER_RPM / segment.seconds
    if rate == 0:
        return path_deg / speed
    squared = max(speed**2 + 2 * rate * path_deg, Fraction(0))
    scaled = (squared.numerator << _ROOT_BITS) // squared.denominator
    root = Fraction(math.isqrt(scaled), 1 << _ROOT_BITS // 2)
    return 2 * path_deg / (speed + root)
