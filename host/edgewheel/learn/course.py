"""The course of the crank: when each slot passed, and how the teeth stand to an even course.

Over exactly one repeat of the pattern every tooth passes once, so a moving average of that length
takes out whatever is the same in each repeat, uneven teeth and ripple alike, and keeps the speed.
What it took out, folded over the repeat, is how far each tooth stands from where an even row would
have it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgewheel.learn.slots import Slots
from edgewheel.learn.streams import Floats, Ints, median

LEAST_REPEATS = 3
"""A pattern that came fewer times than this has not been seen to repeat."""

MAD_TO_SIGMA = 1.4826
"""Standard deviation of normal scatter over its median absolute deviation, 1 / 0.6745 (0.6745: the
normal distribution's upper quartile)."""


@dataclass(frozen=True, eq=False)
class Course:
    """The slots of the main stream in time.

    `times` and `slot` (n,) are the edges that have a slot, both ascending; `even_s` (m,) is when
    slot 0 to m - 1 would have passed in an even row at the speed of the engine averaged over
    `period` slots.
    """

    times: Floats
    slot: Ints
    period: int
    even_s: Floats

    def place(self, times: Floats) -> Floats:
        """Slots (fractions included) at times (k,), counted between the edges of the main stream.

        NaN outside of them.
        """
        slots = self.slot.astype(np.float64)
        return np.interp(times, self.times, slots, left=np.nan, right=np.nan)

    def slot_seconds(self) -> Floats:
        """Seconds a slot takes (m,), averaged over the period."""
        return np.asarray(np.gradient(self.even_s))

    def late(self) -> tuple[Ints, Floats]:
        """Slots whose even time is known, and how many slots (k,) each one's edge comes late."""
        half = self.period
        inside = (self.slot >= half) & (self.slot < len(self.even_s) - half)
        if not inside.any():
            inside = np.ones(len(self.slot), bool)
        slot = self.slot[inside]
        late = (self.times[inside] - self.even_s[slot]) / self.slot_seconds()[slot]
        return slot, late


def course_of(slots: Slots, period: int) -> Course:
    """The course of edges whose pattern repeats after `period` slots."""
    placed = slots.slot >= 0
    times, slot = slots.times[placed], slots.slot[placed]
    slot = slot - slot[0]
    passed = np.interp(np.arange(slot[-1] + 1), slot, times)
    once = _moving_average(passed, period)
    # The average of an average, taken off again, leaves no error up to cubic changes of time.
    return Course(times, slot, period, 2 * once - _moving_average(once, period))


def _moving_average(values: Floats, length: int) -> Floats:
    """The mean (n,) over `length` values round each, carried on in a line at both ends.

    An even length takes half of the outermost two, so that no mean lies between two values.
    """
    if length < 2:
        return values.copy()
    if len(values) < 2 * length + 2:
        return _line(values)
    sums = np.concatenate([[0.0], np.cumsum(values - values[0])])
    means = (sums[length:] - sums[:-length]) / length
    if length % 2 == 0:
        means = (means[1:] + means[:-1]) / 2
    return np.asarray(values[0] + _carried_on(means, length // 2, length))


def _carried_on(middle: Floats, ends: int, length: int) -> Floats:
    """`middle` with `ends` more values at either end, on lines as steep as a length of it."""
    span = min(length, len(middle) - 1)
    head_slope = (middle[span] - middle[0]) / span
    tail_slope = (middle[-1] - middle[-1 - span]) / span
    head = middle[0] - head_slope * np.arange(ends, 0, -1)
    tail = middle[-1] + tail_slope * np.arange(1, ends + 1)
    return np.concatenate([head, middle, tail])


def _line(values: Floats) -> Floats:
    """A straight line through values of which there are too few to average."""
    number = np.arange(len(values))
    return np.asarray(np.polyval(np.polyfit(number, values, 1), number))


@dataclass(frozen=True, eq=False)
class Folded:
    """What was folded over a period of n slots.

    `late` (n,) is how late the tooth of each slot comes, in slots, NaN where there is none;
    `spread` (n,) its standard deviation, robustly; `seen` (n,) the share of repeats that had it.
    """

    late: Floats
    spread: Floats
    seen: Floats
    repeats: float


def fold_late(course: Course, period: int) -> Folded:
    """How late each tooth comes, over all repeats of `period` slots.

    Odd and even repeats count alike, so that what alternates between them cancels.
    """
    slot, late = course.late()
    repeats = (int(slot[-1]) - int(slot[0]) + 1) / period
    values, spread = np.full(period, np.nan), np.full(period, np.nan)
    seen = np.zeros(period)
    places, turns = slot % period, slot // period
    order = np.argsort(places, kind="stable")
    bounds = np.searchsorted(places[order], np.arange(period + 1))
    first, last = int(slot[0]), int(slot[-1])
    for place in range(period):
        mine = order[bounds[place] : bounds[place + 1]]
        possible = (last - place) // period - (first - place - 1) // period
        seen[place] = len(mine) / possible if possible else 0.0
        if len(mine):
            values[place], spread[place] = _middle(late[mine], turns[mine])
    present = seen > 0.5
    values[~present] = np.nan
    return Folded(values, spread, seen, repeats)


def _middle(late: Floats, turns: Ints) -> tuple[float, float]:
    """The middle of values, odd and even turns alike, and their standard deviation, robustly."""
    odd = turns % 2 == 1
    halves = [half for half in (late[~odd], late[odd]) if len(half)]
    middles = [median(half) for half in halves]
    middle = sum(middles) / len(middles)
    if len(late) < 2 * len(halves):
        middles = [middle] * len(halves)  # One value is no scatter about itself.
    off = [np.abs(half - centre) for half, centre in zip(halves, middles, strict=True)]
    return middle, MAD_TO_SIGMA * median(np.concatenate(off))
