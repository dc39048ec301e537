"""Single teeth that stand wrong, and how steadily."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgewheel.learn.course import MAD_TO_SIGMA
from edgewheel.learn.pattern import Pattern
from edgewheel.learn.ripple import FEW

LEAST_DEG = 0.1
"""Less is the play of any wheel."""

LEAST_SLOTS = 0.012
TIMES_NOISE = 6.0
TIMES_USUAL = 6.0

IN_STEP, TIMES_STEP = 0.25, 1.5
"""Steps of the capture below which a tooth scatters too little; and that it must then be off."""

FOLLOWS, MOST_OF_IT = 0.5, 0.9
"""A turn has the deviation if at least a half of what it has in the worst tenth is there."""


@dataclass(frozen=True)
class Deviation:
    """A tooth off its pitch: late if `degrees` (of crank) is positive. `slot` counts within a
    turn of its shaft; on `turns` of `of_turns` it was there, give or take `spread_deg`.
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


def deviations(
    pattern: Pattern, repeat_deg: float, turn_slots: int, resolution_s: float = 0.0
) -> tuple[Deviation, ...]:
    """The teeth that stand out of an even row, the worst first; none where slots are not pitches.

    A tooth passes every `turn_slots`. It counts if it is further off than all but a few are, and
    than its error. Where the capture's clock, or its samples, keep step with the teeth, so that a
    tooth hardly scatters, turns more do not make up for a step of `resolution_s`.
    """
    if not pattern.pitched or pattern.teeth <= FEW:
        return ()
    per_slot = repeat_deg / pattern.period
    off = pattern.off
    known = np.flatnonzero(~np.isnan(off))
    usual = MAD_TO_SIGMA * float(np.median(np.abs(off[known])))
    repeats = max(pattern.folded.repeats, 1.0)
    step = resolution_s / float(pattern.course.slot_seconds().min())
    teeth: set[int] = set()
    for slot in known.tolist():
        error = float(pattern.folded.spread[slot]) / float(np.sqrt(repeats))
        least = max(LEAST_DEG / per_slot, LEAST_SLOTS, TIMES_NOISE * error, TIMES_USUAL * usual)
        if float(pattern.folded.spread[slot]) < IN_STEP * step:
            least = max(least, TIMES_STEP * step)
        if abs(off[slot]) >= least:
            teeth.add(slot % turn_slots)
    found = [_deviation(pattern, tooth, turn_slots, per_slot) for tooth in teeth]
    return tuple(sorted(found, key=lambda one: -abs(one.degrees)))


def _deviation(pattern: Pattern, tooth: int, turn_slots: int, per_slot: float) -> Deviation:
    """What a tooth does turn by turn, and how late it is where it is late."""
    slots, late = pattern.course.late()
    mine = slots % turn_slots == tooth
    places = slots[mine] % pattern.period
    shift = float(np.nanmedian(pattern.folded.late - pattern.late))
    slot = places.astype(np.float64)
    each = pattern.swing.undone(slot + late[mine] - shift) - slot
    most = float(np.quantile(np.abs(each), MOST_OF_IT))
    there = np.abs(each) >= FOLLOWS * most
    middle = float(np.median(each[there]))
    spread = MAD_TO_SIGMA * float(np.median(np.abs(each[there] - middle)))
    counted = int(there.sum()), int(mine.sum())
    return Deviation(tooth, middle * per_slot, spread * per_slot, *counted)
