"""The level table in the mean angle of a ripple, as arrays: the form in which edges become ticks.

Edges are numbered through all turns, forward: edge g is column g mod n of superperiod g div n, the
superperiod being the wheel's period and the ripple's together. A *gap* is a place between edges:
gap g lies before edge g.
"""

from __future__ import annotations

import math
from fractions import Fraction
from functools import cache
from typing import Literal

import numpy as np
import numpy.typing as npt

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.table import Bytes, Ticks
from edgewheel.errors import UsageError
from edgewheel.motion.motion import mean_angle
from edgewheel.motion.ripple import Ripple

MOST_TURNS = 120
"""Turns of a superperiod; a ripple that fits the wheel less often than this is a slip."""

Floats = npt.NDArray[np.float64]

BLOCK_EDGES = 1 << 15
"""Edges computed from one exact origin; a power of two."""


class PhaseTable:
    """One superperiod of n edges.

    Edge j lies `units[j] / units_per_deg + lead_deg[j]` mean degrees after the zero of the tracks:
    an exact part and, under a ripple, a small float one. The zero of tracks that run ahead by
    `advance_deg` is at crank angle -`advance_deg`, `origin_deg` in mean degrees.
    """

    def __init__(
        self, levels: LevelTable, ripple: Ripple | None, advance_deg: Fraction = Fraction(0)
    ) -> None:
        repeats = repeats_of(levels.period, ripple)
        angles = [a + levels.period * i for i in range(repeats) for a in levels.angles]
        self.n = len(angles)
        self.super_deg = levels.period * repeats
        self.origin_deg = mean_angle(-advance_deg, ripple)
        self.units_per_deg = math.lcm(1, *(a.denominator for a in levels.angles))
        self.units = np.array([int(a * self.units_per_deg) for a in angles], np.int64)
        self.super_units = self.super_deg * self.units_per_deg
        self.lead_deg = np.zeros(self.n)
        if ripple is not None:
            lead_deg = cache(ripple.lead_deg)
            first = lead_deg(-advance_deg % ripple.period_deg)
            places = [(a - advance_deg) % ripple.period_deg for a in angles]
            self.lead_deg = np.array([lead_deg(place) - first for place in places])
        self.rippled = ripple is not None
        self._phase_deg = self.units / self.units_per_deg + self.lead_deg
        rows = 2 + BLOCK_EDGES // max(self.n, 1)
        turns = np.arange(rows)[:, None] * self.super_units
        self._unit_run = (turns + self.units).reshape(-1)
        self._lead_run = np.tile(self.lead_deg, rows)
        self._track = np.tile(np.array(levels.track * repeats, np.uint8), rows)
        self._level = np.tile(np.array(levels.level * repeats, np.uint8), rows)

    def gap(self, mean_deg: Fraction, direction: int) -> int:
        """The gap at a mean angle: how many edges lie before it, counted from the tracks' zero.

        An edge at that very angle is still to come, whichever way the wheel turns.
        """
        cycle, rest = divmod(mean_deg - self.origin_deg, self.super_deg)
        side: Literal["left", "right"] = "right" if direction < 0 else "left"
        if self.rippled:
            column = np.searchsorted(self._phase_deg, float(rest), side)
        else:
            whole = math.floor if direction < 0 else math.ceil
            column = np.searchsorted(self.units, whole(rest * self.units_per_deg), side)
        return int(cycle) * self.n + int(column)

    def edge_deg(self, edge: int) -> Fraction:
        """Mean angle of an edge, counted from the tracks' zero."""
        cycle, column = divmod(edge, self.n)
        units = cycle * self.super_units + int(self.units[column])
        return Fraction(units, self.units_per_deg) + Fraction(float(self.lead_deg[column]))

    def between(self, edge: int, begin: int, end: int) -> tuple[Ticks, Floats | None]:
        """From one edge to edges begin to end, all within a block.

        Units of angle (end - begin,), and what a ripple adds in degrees.
        """
        cycle, column = divmod(begin, self.n)
        from_cycle, from_column = divmod(edge, self.n)
        offset = (cycle - from_cycle) * self.super_units - int(self.units[from_column])
        window = slice(column, column + end - begin)
        units: Ticks = self._unit_run[window] + offset
        if not self.rippled:
            return units, None
        return units, self._lead_run[window] - self.lead_deg[from_column]

    def columns(self, begin: int, end: int) -> tuple[Bytes, Bytes]:
        """Track and level (end - begin,) of edges begin to end, at most a block of them, turning
        forward.
        """
        column = begin % self.n
        window = slice(column, column + end - begin)
        return self._track[window], self._level[window]


class PhaseTables:
    """The phase tables of one level table, each made once."""

    def __init__(self, levels: LevelTable) -> None:
        self._levels = levels
        self._made: dict[tuple[Ripple | None, Fraction], PhaseTable] = {}

    def of(self, ripple: Ripple | None, advance_deg: Fraction = Fraction(0)) -> PhaseTable:
        """The table under a ripple, of tracks that run ahead. Raises UsageError."""
        key = ripple, advance_deg
        if key not in self._made:
            self._made[key] = PhaseTable(self._levels, ripple, advance_deg)
        return self._made[key]


def repeats_of(period: int, ripple: Ripple | None) -> int:
    """How many periods of the wheel make one superperiod."""
    if ripple is None:
        return 1
    ratio = ripple.period_deg / period
    if ratio.numerator * period > MOST_TURNS * 360:
        raise UsageError(
            f"A ripple every {float(ripple.period_deg):g} degrees does not fit a wheel repeating "
            f"every {period}. Choose a number per turn such as 1/2, 1, 3/2, 2 or 3."
        )
    return ratio.numerator
