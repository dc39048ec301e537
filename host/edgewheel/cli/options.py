"""Options that several commands share, and how their text becomes numbers."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from fractions import Fraction

from edgewheel.yamlfile import parse_number


def number(above: int | None = None, minimum: int | None = None) -> Callable[[str], Fraction]:
    """An argparse type: an exact number, greater than `above` or at least `minimum`."""

    def exact(text: str) -> Fraction:
        value = parse_number(text)
        if value is None:
            raise argparse.ArgumentTypeError(f"'{text}' is not a number; write 250, 0.5 or 360/7")
        if above is not None and value <= above:
            raise argparse.ArgumentTypeError(f"{text} is too small; write more than {above}")
        if minimum is not None and value < minimum:
            raise argparse.ArgumentTypeError(f"{text} is too small; write at least {minimum}")
        return value

    return exact


def tick_rate(text: str) -> int:
    """An argparse type: ticks a second, a whole number."""
    value = number(above=0)(text)
    if value.denominator != 1 or value > 10**9:
        raise argparse.ArgumentTypeError(f"{text} is not a whole number of ticks up to 1e9")
    return int(value)
