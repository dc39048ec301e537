"""What some trials that each gave a number say of all trials to come."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, comb, inf

from edgewheel.search.binomial import clopper_pearson
from edgewheel.search.qualify.bounds import CONFIDENCE, Measured


def quantile(values: Sequence[float], share: float, unit: str) -> Measured:
    """The value below which this share of all trials lies, from a sample of them.

    The interval is between order statistics, whatever the distribution: the number of trials below
    the true quantile is binomial. H. A. David and H. N. Nagaraja, "Order Statistics" (2003), 7.1.
    An end for which there are too few trials is infinite. Values may be infinite.
    """
    ordered = sorted(values)
    count, tail = len(ordered), (1 - CONFIDENCE) / 2
    value = ordered[max(ceil(share * count) - 1, 0)]
    low = max((r for r in range(1, count + 1) if _below(r, count, share) <= tail), default=0)
    high = min((s for s in range(1, count + 1) if _below(s, count, share) >= 1 - tail), default=0)
    return Measured(
        value, ordered[low - 1] if low else -inf, ordered[high - 1] if high else inf, unit
    )


def trials_for(share: float) -> int:
    """The fewest trials whose largest bounds that quantile from above, and smallest from below."""
    count = 1
    while max(share, 1 - share) ** count > (1 - CONFIDENCE) / 2:
        count += 1
    return count


def share_of(hits: int, count: int) -> Measured:
    """The share of all trials that turn out so, in percent, after Clopper and Pearson."""
    low, high = clopper_pearson(hits, count, CONFIDENCE)
    return Measured(100 * hits / count, 100 * low, 100 * high, "%")


def _below(rank: int, count: int, share: float) -> float:
    """The probability that fewer than `rank` of `count` lie below the quantile."""
    return sum(comb(count, n) * share**n * (1 - share) ** (count - n) for n in range(rank))
