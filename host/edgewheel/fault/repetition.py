"""How often a fault is there: at chosen teeth, at every n-th, at random."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

import numpy as np

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.table import NO_TOOTH, Ticks
from edgewheel.fault.draw import uniform
from edgewheel.fault.fields import Bounds, ToothNumbers
from edgewheel.fault.window import Bools

MOST_EVERY = 10**6


@dataclass(frozen=True)
class Repetition:
    """Which of a track's teeth have the fault, each time that they pass.

    - `teeth`: only these, numbered from 1 as in the wheel file; none named: all;
    - `every`: of those only each n-th that passes, counted from angle 0 of the first cycle;
    - `chance`: of those each with this probability, drawn by (seed, fault, cycle, tooth).

    An edge that no tooth makes (another fault has added it) has the fault only if nothing is asked.
    """

    teeth: Annotated[tuple[int, ...], ToothNumbers()] = ()
    every: Annotated[int, Bounds(1, MOST_EVERY)] = 1
    chance: Annotated[Fraction, Bounds(above=0, maximum=1)] = Fraction(1)

    def chosen(self, levels: LevelTable, track: int, passage: Ticks, key: int) -> Bools:
        """Whether each of `passage` (n,) on a track has the fault."""
        if self == Repetition():
            return np.ones(len(passage), np.bool_)
        known: Bools = passage != NO_TOOTH
        turn, place = np.divmod(passage, levels.teeth[track])
        teeth = np.array(sorted(self.teeth), np.int64) - 1
        if len(teeth):
            known &= np.isin(place, teeth)
            place = np.searchsorted(teeth, place)
        count = turn * (len(teeth) or levels.teeth[track]) + place + 1
        known &= count % self.every == 0
        return known & (uniform(key, passage) < float(self.chance))


EACH = Repetition()
