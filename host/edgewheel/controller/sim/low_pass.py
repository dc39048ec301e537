"""The low-pass before a comparator, as far as it can be told from half-waves alone.

Beside a gap the voltage is a bell no wider than beside other teeth, and then next to nothing. So a
half-wave counts as no longer than the middle one of the last `REMEMBERED`: a gap makes two long
ones, and noise in a tooth cannot move it.
"""

from __future__ import annotations

import math
from collections import deque
from typing import NamedTuple

REMEMBERED = 5


def low_passed(length: float, constant: float) -> tuple[float, float]:
    """How late a half-wave comes to its end, and the share that is left of its height.

    A half-wave of T is taken for half a sine of angular frequency w = pi / T. A resistor and a
    capacitor of time constant RC make it late by atan(w RC) / w and leave 1 / sqrt(1 + (w RC)^2) (a
    first-order low-pass in the steady state: Horowitz and Hill, The Art of Electronics, 3rd
    edition, section 1.7, from memory). All times are in one unit.
    """
    angle = math.pi * constant / length
    late = constant * math.atan(angle) / angle if angle else 0.0
    return late, 1 / math.hypot(1, angle)


class Crossing(NamedTuple):
    """The end of a half-wave: its `height_mv`, and the sign of the voltage from then on."""

    tick: int
    level: int
    height_mv: float


class _UnderWay(NamedTuple):
    """A crossing as it will come out, and what went in of the half-wave that it ends."""

    out: Crossing
    begin: int | None
    height_mv: float


class LowPass:
    """Takes crossings in their order, gives them as they come out of the filter.

    A crossing that would overtake the one before takes that along, and the half-wave goes on: a
    pulse too short to bring the filtered voltage to zero.
    """

    def __init__(self, time_constant_ticks: float) -> None:
        self._constant = time_constant_ticks
        self._lengths: deque[int] = deque(maxlen=REMEMBERED)
        self._length: int | None = None
        self._begin: int | None = None
        self._height_mv = 0.0
        self._under_way: deque[_UnderWay] = deque()

    def send(self, crossing: Crossing) -> None:
        """A crossing goes in; its tick is later than that of the one before."""
        tick = crossing.tick
        height_mv = max(crossing.height_mv, self._height_mv)
        late, share = self._low_passed(tick)
        out = Crossing(tick + round(late), crossing.level, height_mv * share)
        if self._under_way and self._under_way[-1].out.tick >= out.tick:
            overtaken = self._under_way.pop()
            self._begin, self._height_mv = overtaken.begin, overtaken.height_mv
            self._length = None
            return
        self._under_way.append(_UnderWay(out, self._begin, height_mv))
        if self._length is not None:
            self._lengths.append(self._length)
        self._length = None if self._begin is None else tick - self._begin
        self._begin, self._height_mv = tick, 0.0

    def receive(self, until_tick: int) -> list[Crossing]:
        """Those that have come out by a tick up to which all have gone in."""
        arrived = []
        while self._under_way and self._under_way[0].out.tick <= until_tick:
            arrived.append(self._under_way.popleft().out)
        return arrived

    def _low_passed(self, end: int) -> tuple[float, float]:
        """What becomes of the half-wave that ends now; the first one has lasted for ever."""
        if self._begin is None:
            return self._constant, 1.0
        length = end - self._begin
        if len(self._lengths) == REMEMBERED:
            length = min(length, sorted(self._lengths)[REMEMBERED // 2])
        return low_passed(length, self._constant)
