"""What so many failures in so many trials say about how often a thing fails."""

from __future__ import annotations

from collections.abc import Callable
from math import comb

STEPS = 60
"""Halvings of [0, 1]: beyond what a float can tell apart."""


def clopper_pearson(failed: int, tried: int, confidence: float = 0.95) -> tuple[float, float]:
    """The exact interval of a share, each side wrong at most half of 1 - `confidence`.

    C. J. Clopper and E. S. Pearson, "The use of confidence or fiducial limits illustrated in the
    case of the binomial", Biometrika 26 (1934). Raises ValueError unless 0 <= failed <= tried.
    """
    if not 0 <= failed <= tried or not tried:
        raise ValueError(f"{failed} of {tried} is no share")
    tail = (1 - confidence) / 2
    low = _where(lambda p: at_least(failed, tried, p) >= tail) if failed else 0.0
    high = _where(lambda p: at_least(failed + 1, tried, p) >= 1 - tail) if failed < tried else 1.0
    return low, high


def at_least(failed: int, tried: int, share: float) -> float:
    """The probability of `failed` or more failures in `tried` trials that each fail by `share`."""
    return sum(
        comb(tried, n) * share**n * (1 - share) ** (tried - n) for n in range(failed, tried + 1)
    )


def agreeing(share: float, error: float) -> int:
    """How many trials that all fail prove, but for `error`, that more than `share` of them do."""
    count, chance = 1, share
    while chance > error:
        count, chance = count + 1, chance * share
    return count


def _where(reached: Callable[[float], bool]) -> float:
    """The least share from which on something is true."""
    low, high = 0.0, 1.0
    for _ in range(STEPS):
        middle = (low + high) / 2
        low, high = (low, middle) if reached(middle) else (middle, high)
    return (low + high) / 2
