"""The one equation that has no closed form here: where a rising function reaches 0."""

from __future__ import annotations

import math
from collections.abc import Callable

MOST_STEPS = 200
"""Enough for a bisection to exhaust a float many times over."""


def rising_root(
    function: Callable[[float], tuple[float, float]], low: float, high: float, guess: float
) -> float:
    """The x in [low, high] at which a rising function is 0, to the last digits of a float.

    `function` gives value and slope at x. Newton's method, kept within a bracket by halving it
    where a step would leave it. Where the function has no zero within, the nearer end.
    """
    x = min(max(guess, low), high)
    smallest = 4 * math.ulp(max(abs(low), abs(high)))
    for _ in range(MOST_STEPS):
        value, slope = function(x)
        low, high = (low, x) if value > 0 else (x, high)
        better = x - value / slope if slope > 0 else math.inf
        if not low <= better <= high:
            better = (low + high) / 2
        if abs(better - x) <= smallest:
            return better
        x = better
    return x
