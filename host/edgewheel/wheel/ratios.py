"""Period ratios: each tooth's period over the one before, as a controller compares them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from edgewheel.wheel.model import Track
from edgewheel.wheel.pins import EdgeChoice, edge_periods, pin_edges

Kind = Literal["ordinary", "gap", "after a gap", "irregular"]

LIKE = Fraction(5, 4)
"""Periods within this factor of the usual one count as usual."""


@dataclass(frozen=True)
class PeriodRatio:
    """Two successive periods of a track, ending at one edge of a tooth.

    `angles` are the three edges in crank degrees, ascending; the last is in [0, period) and the
    others may be below 0. Under a motion the same ratio follows from the times of the three.
    """

    tooth: int
    angles: tuple[Fraction, Fraction, Fraction]
    kind: Kind

    @property
    def ratio(self) -> Fraction:
        """The later period over the earlier one, at steady speed."""
        first, middle, last = self.angles
        return (last - middle) / (middle - first)


def period_ratios(track: Track, period: int, choice: EdgeChoice) -> tuple[PeriodRatio, ...]:
    """The ratio at each edge that `choice` lets in, over one period of the wheel, ascending.

    A period is a gap if it is longer than the usual one, so "gap" is the ratio that a controller
    must see to know the place, and "ordinary" the ones that it must not take for it.
    """
    edges = pin_edges(track, period, choice)
    periods = edge_periods(edges, period)
    usual = usual_period(periods)
    return tuple(
        PeriodRatio(
            edge.tooth,
            (edge.angle - this - before, edge.angle - this, edge.angle),
            _kind(before / usual, this / usual),
        )
        for edge, this, before in zip(edges, periods, (periods[-1], *periods[:-1]), strict=True)
    )


def usual_period(periods: tuple[Fraction, ...]) -> Fraction:
    """The commonest period, the shortest of them if several are equally common."""
    counts = Counter(periods)
    return min(counts, key=lambda one: (-counts[one], one))


def _kind(before: Fraction, this: Fraction) -> Kind:
    """What a ratio tells; the periods are given as multiples of the usual one."""
    if before > LIKE:
        return "after a gap"
    if before * LIKE < 1 or this * LIKE < 1:
        return "irregular"
    return "gap" if this > LIKE else "ordinary"
