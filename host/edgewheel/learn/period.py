"""After how many slots something repeats: the smallest lag that is about as good as the best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from edgewheel.learn.streams import Bools, Floats, Ints

NOTHING = 0.004
"""Differences of cost below this are the clock's rounding, not the wheel's."""

ALWAYS = 0.75
"""Share of the repeats in which a hole of the pattern is one."""

TIMES_ERROR = 4.0
"""Differences of cost within as many errors of it are chance: many lags are tried."""

NEAR_BEST = 0.08
"""A smaller lag is taken if it closes all but this share of the way from the usual to the best."""


@dataclass(frozen=True)
class Unlike:
    """How unlike itself a pattern is some slots later, on average, and the error of that."""

    mean: float
    error: float

    @classmethod
    def of(cls, distances: Floats) -> Unlike:
        """From how far each of some edges (n,) is from where it would have to be."""
        if not len(distances):
            return cls(1.0, 0.0)
        count = len(distances)
        mean = float(distances.sum()) / count
        off = distances - mean
        return cls(mean, sqrt(float(off @ off)) / count)


def smallest_period(lags: Ints, unlike: Sequence[Unlike]) -> int:
    """The smallest of `lags` (k,) at which a pattern is about as like itself as anywhere.

    The first if none stands out of what chance brings about.
    """
    costs = np.array([one.mean for one in unlike])
    error = float(np.median([one.error for one in unlike]))
    best = float(costs.min())
    usual = max(float(np.median(costs)), (best + float(costs.max())) / 2)
    if usual - best <= max(TIMES_ERROR * error, NOTHING):
        return int(lags[0])
    near = max(NEAR_BEST * (usual - best), 3 * unlike[int(np.argmin(costs))].error)
    chosen = int(np.argmax(costs <= best + near))
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
    shares = _repeating(holes, lags)
    best = float(shares.max())
    if best < max(0.5, 3 * density) and density < 0.3:
        return 1, 1.0 - density
    period = int(lags[np.argmax(shares >= best - 0.1)])
    return (period, best) if _stands(holes, period) else (1, 1.0 - density)


def _stands(holes: Bools, period: int) -> bool:
    """True if some place of the period is a hole nearly always, which is hardly by chance."""
    repeats = len(holes) // period
    often = holes[: repeats * period].reshape(repeats, period).sum(axis=0)
    return bool(often.max() >= max(3, ALWAYS * repeats))


def _repeating(holes: Bools, lags: Ints) -> Floats:
    """Share (k,) of the holes (n,) that are holes again each of the lags 1 to k later, those that
    cannot be told left out.
    """
    row = holes.astype(np.float64)
    both = np.correlate(np.concatenate([row, np.zeros(len(lags))]), row, "valid")[lags]
    upto = np.concatenate([[0.0], np.cumsum(row)])
    either = upto[len(holes) - lags] + upto[-1] - upto[lags]
    return np.asarray(2 * both / np.maximum(either, 1.0))
