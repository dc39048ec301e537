"""Which place of a row of equal pitches, or of a repeating row, each edge belongs to.

A slot is a whole number that grows by one from place to place, so that a missing or dropped tooth
leaves a hole and an added or extra one has no slot. Two ways lead there: by the local pitch, for
rows that are mostly even, and by following a row of unequal intervals that repeats.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgewheel.learn.period import Unlike, smallest_period
from edgewheel.learn.streams import Bools, Floats, Ints, running_median

REGULAR_LOW, REGULAR_HIGH = 0.62, 1.6
"""An interval within these times the local pitch is one pitch long."""

MAKES_TWO, SHORTEST = 0.25, 0.2
"""Pitches within which two intervals make two; and that the shorter of them is at least."""

LONG_GAP = 3
"""Pitches of a gap that is rounded however far off it is: the speed may change within it."""

MOST_IN_ROW = 64
"""Teeth in a row of unequal intervals; longer rows are rows of pitches."""

STEP = 0.3
"""How far the logarithm of an interval may be off what the row makes expect."""


@dataclass(frozen=True, eq=False)
class Slots:
    """`slot` (n,) of each edge at `times` (n,), -1 for an edge that has none.

    `row` is 0 for slots that are pitches, else the number of teeth after which the row of unequal
    intervals repeats.
    """

    times: Floats
    slot: Ints
    row: int = 0

    @property
    def placed(self) -> float:
        """Share of the edges that have a slot."""
        return float(np.mean(self.slot >= 0))


def pitch_slots(times: Floats) -> Slots:
    """Slots by the local pitch: the median of the intervals near by."""
    intervals = np.diff(times)
    rough = intervals / running_median(intervals, 9)
    steps = intervals / _local_pitch(intervals)
    slot = np.full(len(times), -1, np.int64)
    slot[0] = 0
    here, pending = 0, 0.0
    regular = (steps > REGULAR_LOW) & (steps < REGULAR_HIGH)
    regular |= _displaced(rough)
    regular &= ~_split_gaps(rough)
    for index, (step, usual) in enumerate(zip(steps.tolist(), regular.tolist(), strict=True), 1):
        if usual and pending == 0.0:
            here += 1
            slot[index] = here
            continue
        pending += step
        whole = round(pending)
        if whole >= LONG_GAP or (whole >= 1 and abs(pending - whole) <= 0.2 + 0.05 * whole):
            here += whole
            slot[index] = here
            pending = 0.0
    return Slots(times, slot)


def with_gaps(slots: Slots, longer: int) -> Slots:
    """The same slots where each long gap is so many pitches longer, or shorter if negative."""
    placed = np.flatnonzero(slots.slot >= 0)
    steps = np.diff(slots.slot[placed], prepend=slots.slot[placed[:1]])
    steps[steps >= LONG_GAP] += longer
    slot = slots.slot.copy()
    slot[placed] = slot[placed[0]] + np.cumsum(steps)
    return Slots(slots.times, slot, slots.row)


def _displaced(steps: Floats) -> Bools:
    """Which intervals (n,), in pitches, are the two beside a tooth that stands off its place.

    Together they make two pitches and the ones beside them one each: beside an added tooth two
    short ones follow one another.
    """
    found = np.zeros(len(steps), np.bool_)
    if len(steps) < 4:
        return found
    whole = np.abs(steps - 1) < MAKES_TWO
    twos = np.abs(steps[1:-2] + steps[2:-1] - 2) < MAKES_TWO
    short = np.minimum(steps[1:-2], steps[2:-1])
    pairs = np.flatnonzero(twos & (short > SHORTEST) & whole[:-3] & whole[3:]) + 1
    found[pairs] = found[pairs + 1] = True
    return found


def _split_gaps(steps: Floats) -> Bools:
    """Which intervals (n,), in pitches, are the two parts of a gap of two teeth with an edge amid.

    Each by itself is nearly one pitch; together they make three, and those beside them one each.
    """
    found = np.zeros(len(steps), np.bool_)
    if len(steps) < 4:
        return found
    whole = np.abs(steps - 1) < MAKES_TWO
    threes = np.abs(steps[1:-2] + steps[2:-1] - 3) < MAKES_TWO
    short = np.minimum(steps[1:-2], steps[2:-1])
    pairs = np.flatnonzero(threes & (short > 1 + MAKES_TWO) & whole[:-3] & whole[3:]) + 1
    found[pairs] = found[pairs + 1] = True
    return found


def _local_pitch(intervals: Floats) -> Floats:
    """The pitch (n,) at each of n intervals, from the regular ones before and after it."""
    rough = running_median(intervals, 9)
    usual = (intervals > REGULAR_LOW * rough) & (intervals < REGULAR_HIGH * rough)
    regular = np.flatnonzero(usual & ~_split_gaps(intervals / rough))
    if len(regular) < 2:
        return rough
    logs = np.log(intervals[regular])
    return np.asarray(np.exp(np.interp(np.arange(len(intervals)), regular, logs)))


def row_slots(times: Floats) -> Slots | None:
    """Slots of a row of unequal intervals that repeats, None if none does."""
    logs = np.log(np.diff(times))
    lags = np.arange(1, min(MOST_IN_ROW, len(logs) // 3) + 1)
    if not len(lags):
        return None
    lag = smallest_period(lags, [_unlike(logs, int(lag)) for lag in lags])
    row, start = _cleanest_row(logs, lag)
    return Slots(times, _follow(times, row, start), lag)


def _unlike(logs: Floats, lag: int) -> Unlike:
    """How unlike itself a sequence is some intervals later, slow change of speed left out."""
    return Unlike.of(np.minimum(np.abs(_changes(logs, lag)), 0.5))


def _changes(logs: Floats, lag: int) -> Floats:
    """What changed some intervals later, slow change of speed left out."""
    change = logs[lag:] - logs[:-lag]
    return change - running_median(change, min(4 * lag + 1, 65))


def _cleanest_row(logs: Floats, lag: int) -> tuple[Floats, int]:
    """The row's intervals (lag,) as shares of their sum, and the edge at which such a row begins.

    From the first place where the row comes twice running about as alike as anywhere.
    """
    change = np.abs(_changes(logs, lag))
    if len(change) < lag:
        start = 0
    else:
        unlike = np.convolve(change, np.ones(lag), "valid")
        start = int(np.argmax(unlike <= 1.5 * float(unlike.min()) + 0.03 * lag))
    repeats = [
        logs[start + n * lag : start + (n + 1) * lag]
        for n in range(3)
        if start + (n + 1) * lag <= len(logs)
    ]
    shares = np.exp(np.median([one - np.log(np.exp(one).sum()) for one in repeats], axis=0))
    return shares / shares.sum(), start


def _follow(times: Floats, row: Floats, start: int) -> Ints:
    """Slots (n,) of every edge from `start` on; slots below 0 never arise, those before have none.

    An interval is one step of the row, two or three where teeth dropped out, or a part of one where
    an extra edge stands; where nothing fits, the row is sought again.
    """
    lag = len(row)
    expected = np.concatenate([row, row, row])
    slot = np.full(len(times), -1, np.int64)
    slot[start] = 0
    turn_s = float(times[min(start + lag, len(times) - 1)] - times[start])
    here, last = 0, start
    moments, steps = times.tolist(), expected.tolist()
    for index in range(start + 1, len(moments)):
        passed = moments[index] - moments[last]
        at = here % lag
        taken, ratio = _steps_taken(passed / turn_s, steps, at)
        if taken:
            turn_s *= ratio**0.5
            here += taken
        elif passed / turn_s < steps[at]:
            continue
        else:
            here = _seek(times, index, row, here)
            turn_s = _row_time(times, index, lag, turn_s)
        slot[index] = here
        last = index
    return slot


def _steps_taken(share: float, steps: list[float], at: int) -> tuple[int, float]:
    """How many steps of the row fit a share of its turn, and the ratio of the two; 0 if none do."""
    best, best_ratio, best_off = 0, 1.0, STEP
    total = 0.0
    for taken in (1, 2, 3):
        total += steps[at + taken - 1]
        off = abs(np.log(share / total)) + 0.1 * (taken - 1)
        if off < best_off:
            best, best_ratio, best_off = taken, share / total, float(off)
    return best, best_ratio


def _row_time(times: Floats, index: int, lag: int, usual: float) -> float:
    if index + lag < len(times):
        return float(times[index + lag] - times[index])
    return usual


def _seek(times: Floats, index: int, row: Floats, here: int) -> int:
    """The next slot that the coming intervals fit best."""
    lag = len(row)
    coming = np.diff(times[index : index + lag + 1])
    if len(coming) < 2:
        return here + 1
    shares = coming / coming.sum()
    costs = []
    for turned in range(lag):
        expected = np.resize(np.roll(row, -turned), len(coming))
        off = np.log(shares / (expected / expected.sum()))
        costs.append(float(np.mean(np.minimum(np.abs(off), 1.0))))
    turned = int(np.argmin(costs))
    return here + 1 + (turned - here - 1) % lag
