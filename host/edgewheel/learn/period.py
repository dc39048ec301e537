"""After how many slots something repeats: the smallest lag that is about as good as the best."""

from __future__ import annotations

import numpy as np

from edgewheel.learn.streams import Bools, Floats, Ints

NOTHING = 0.004
"""Differences of cost below this are the clock's rounding, not the wheel's."""

NEAR_BEST = 0.2
"""A smaller lag is taken if it closes all but this share of the way from the usual to the best."""


def smallest_period(lags: Ints, costs: Floats, chance: float) -> int:
    """The smallest of `lags` (k,) whose cost is near the least; the first if none stands out.

    `costs` (k,) say how unlike itself the pattern is a lag later; differences below `chance` times
    the usual cost are luck.
    """
    best, usual = float(costs.min()), float(np.median(costs))
    worst = float(costs.max())
    usual = max(usual, (best + worst) / 2)
    if usual - best <= max(3 * chance * usual, NOTHING):
        return int(lags[0])
    chosen = int(np.argmax(costs <= best + NEAR_BEST * (usual - best)))
    while chosen + 1 < len(costs) and costs[chosen + 1] < costs[chosen]:
        chosen += 1
    return int(lags[chosen])


def hole_period(present: Bools, most: int) -> tuple[int, float]:
    """After how many of the slots (n,) the holes repeat, and which share of them does.

    A period of 1 means that no hole repeats: the row is even.
    """
    holes = ~present
    total = int(holes.sum())
    if total < 3:
        return 1, 1.0
    density = total / len(holes)
    lags = np.arange(1, min(most, len(holes) // 2) + 1)
    shares = np.array([_repeating(holes, int(lag)) for lag in lags])
    best = float(shares.max())
    if best < max(0.5, 3 * density) and density < 0.3:
        return 1, 1.0 - density
    return int(lags[np.argmax(shares >= best - 0.1)]), best


def _repeating(holes: Bools, lag: int) -> float:
    """Share of the holes that are holes again a lag later, those that cannot be told left out."""
    first, second = holes[:-lag], holes[lag:]
    either = int((first | second).sum())
    return 2 * int((first & second).sum()) / (int(first.sum()) + int(second.sum())) if either else 0
