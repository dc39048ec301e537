"""Variable cam timing: how far a cam runs ahead of where the wheel file has it, over time.

Advance is in crank degrees, positive where the cam's edges come earlier. It is linear in time
between knots, so every edge has one exact time.
"""

from __future__ import annotations

import hashlib
import math
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

Point = tuple[Fraction, Fraction]
"""Seconds from the start of the motion, and crank degrees of advance."""

_HASH_BYTES = 6
_FINEST_DEG = 1000


@dataclass(frozen=True)
class Wander:
    """A cam phaser that hunts: every `every_s` a new place within `degrees` of where it should be.

    The places follow from `seed` and their number alone. It begins at `from_s` and has come back to
    rest by `until_s`, None for never.
    """

    degrees: Fraction
    every_s: Fraction
    from_s: Fraction = Fraction(0)
    until_s: Fraction | None = None
    seed: int = 0

    @property
    def fastest(self) -> Fraction:
        """Crank degrees a second that it moves at most."""
        return 2 * self.degrees / self.every_s

    def at(self, seconds: Fraction) -> Fraction:
        """Crank degrees from where the phaser should be."""
        knot = (seconds - self.from_s) / self.every_s
        number = math.floor(knot)
        begin, end = self._place(number), self._place(number + 1)
        return begin + (end - begin) * (knot - number)

    def later(self, by_s: Fraction) -> Wander:
        """The same so many seconds later."""
        until_s = None if self.until_s is None else self.until_s + by_s
        return replace(self, from_s=self.from_s + by_s, until_s=until_s)

    def next_knot_s(self, seconds: Fraction) -> Fraction | None:
        """The first time after `seconds` at which its pace changes; None if it rests for ever."""
        number = max(math.floor((seconds - self.from_s) / self.every_s) + 1, 0)
        last = self._last
        return self.from_s + number * self.every_s if last is None or number <= last else None

    def last_knot_s(self, seconds: Fraction, *, before: bool = False) -> Fraction | None:
        """The last such time up to `seconds`, or before it; None if there is none."""
        knot = (seconds - self.from_s) / self.every_s
        number = math.ceil(knot) - 1 if before else math.floor(knot)
        last = self._last
        number = number if last is None else min(number, last)
        return self.from_s + number * self.every_s if number >= 0 else None

    @property
    def _last(self) -> int | None:
        """The number of the place at which it has come back to rest."""
        if self.until_s is None:
            return None
        return max(math.floor((self.until_s - self.from_s) / self.every_s), 0)

    def _place(self, number: int) -> Fraction:
        last = self._last
        if number <= 0 or (last is not None and number >= last):
            return Fraction(0)
        return _drawn(self.degrees, self.seed, number)


@dataclass(frozen=True)
class CamTiming:
    """Advance over time: linear between `points`, still before the first and after the last, and
    what `wander` adds.

    `points` ascend in time and are at least one.
    """

    points: tuple[Point, ...] = ((Fraction(0), Fraction(0)),)
    wander: Wander | None = None

    def advance_deg(self, seconds: Fraction) -> Fraction:
        """Crank degrees by which the cam's edges come early, at a time."""
        wandered = self.wander.at(seconds) if self.wander else Fraction(0)
        return self._ordered_deg(seconds) + wandered

    def later(self, by_s: Fraction) -> CamTiming:
        """The same so many seconds later; until then the cam stands as it does at first."""
        still = len(self.points) == 1
        points = self.points if still else tuple((at + by_s, deg) for at, deg in self.points)
        return CamTiming(points, self.wander.later(by_s) if self.wander else None)

    def next_knot_s(self, seconds: Fraction) -> Fraction | None:
        """The first time after `seconds` at which it changes its pace; None if there is none."""
        later = [at for at, _ in self.points if at > seconds][:1]
        if self.wander:
            knot = self.wander.next_knot_s(seconds)
            later += [knot] if knot is not None else []
        return min(later, default=None)

    def last_knot_s(self, seconds: Fraction, *, before: bool = False) -> Fraction | None:
        """The last such time up to `seconds`, or before it; None if there is none."""
        earlier = [at for at, _ in self.points if at < seconds or (at == seconds and not before)]
        knots = earlier[-1:]
        if self.wander:
            knot = self.wander.last_knot_s(seconds, before=before)
            knots += [knot] if knot is not None else []
        return max(knots, default=None)

    def _ordered_deg(self, seconds: Fraction) -> Fraction:
        index = bisect_right(self.points, seconds, key=lambda point: point[0])
        if index == 0:
            return self.points[0][1]
        (begin_s, begin) = self.points[index - 1]
        if index == len(self.points):
            return begin
        end_s, end = self.points[index]
        return begin + (end - begin) * (seconds - begin_s) / (end_s - begin_s)


def moved(start_deg: Fraction, moves: Iterable[Point], deg_per_s: Fraction) -> tuple[Point, ...]:
    """The points of a phaser that is ordered to places, (seconds, degrees), and gets there at a
    rate.

    An order may come before the last one is carried out; times ascend.
    """
    points: list[Point] = [(Fraction(0), start_deg)]
    for at_s, target in moves:
        place = CamTiming(tuple(points)).advance_deg(at_s)
        points = [point for point in points if point[0] < at_s]
        points.append((at_s, place))
        if target != place:
            points.append((at_s + abs(target - place) / deg_per_s, target))
    return tuple(points)


@lru_cache(maxsize=1024)
def _drawn(degrees: Fraction, seed: int, number: int) -> Fraction:
    """A place within `degrees` that depends on seed and number alone, to a thousandth."""
    digest = hashlib.blake2b(f"{seed} {number}".encode(), digest_size=_HASH_BYTES).digest()
    share = Fraction(2 * int.from_bytes(digest) + 1, 1 << 8 * _HASH_BYTES) - 1
    return Fraction(round(degrees * share * _FINEST_DEG), _FINEST_DEG)
