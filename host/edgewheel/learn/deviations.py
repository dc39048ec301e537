"""Single teeth that stand wrong, and how steadily."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgewheel.learn.pattern import Pattern
from edgewheel.learn.ripple import FEW

LEAST_DEG = 0.1
"""Less is the play of any wheel."""

LEAST_SLOTS = 0.012
TIMES_NOISE = 6.0
TIMES_USUAL = 6.0

FOLLOWS = 0.5
"""A turn has the deviation if at least this share of it is there, and no more than twice it."""


@dataclass(frozen=True)
class Deviation:
    """A tooth off its pitch: late if `degrees` (of crank) is positive. `slot` counts within the
    repeat; on `turns` of `of_turns` repeats it was there, give or take `spread_deg`.
    """

    slot: int
    degrees: float
    spread_deg: float
    turns: int
    of_turns: int

    @property
    def steady(self) -> bool:
        """There on practically every turn."""
        return self.turns >= 0.95 * self.of_turns


def deviations(pattern: Pattern, repeat_deg: float) -> tuple[Deviation, ...]:
    """The teeth that stand out of an even row, the worst first; none where slots are not pitches.

    A tooth counts if it is further off than all but a few are, and than its error.
    """
    if not pattern.pitched or pattern.teeth <= FEW:
        return ()
    per_slot = repeat_deg / pattern.period
    off = pattern.off
    known = np.flatnonzero(~np.isnan(off))
    usual = 1.4826 * float(np.median(np.abs(off[known])))
    repeats = max(pattern.folded.repeats, 1.0)
    found = []
    for slot in known.tolist():
        error = float(pattern.folded.spread[slot]) / float(np.sqrt(repeats))
        least = max(LEAST_DEG / per_slot, LEAST_SLOTS, TIMES_NOISE * error, TIMES_USUAL * usual)
        if abs(off[slot]) >= least:
            found.append(_deviation(pattern, slot, per_slot))
    return tuple(sorted(found, key=lambda one: -abs(one.degrees)))


def _deviation(pattern: Pattern, slot: int, per_slot: float) -> Deviation:
    slots, late = pattern.course.late()
    mine = slots % pattern.period == slot
    usual = float(pattern.off[slot])
    each = late[mine] - (float(pattern.folded.late[slot]) - usual)
    there = (each / usual >= FOLLOWS) & (each / usual <= 2)
    spread = 1.4826 * float(np.median(np.abs(each - np.median(each))))
    return Deviation(slot, usual * per_slot, spread * per_slot, int(there.sum()), int(mine.sum()))
