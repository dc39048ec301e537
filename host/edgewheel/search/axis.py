"""One number of a bench file that a search varies, and between which values."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction

from edgewheel.errors import UsageError
from edgewheel.yamlfile import Node, parse_number

SPEED = "speed"
"""The address of the speed to which a trial runs the engine up."""

SEED = "seed"
DIGITS = 6


@dataclass(frozen=True)
class Axis:
    """From `low` to `high`; `whole` numbers only, if so asked.

    Searches place trials by share: 0 is `low`, 1 is `high`.
    """

    address: str
    low: float
    high: float
    whole: bool = False

    def text(self, share: float) -> str:
        """The value at a share, as it stands in a bench file."""
        value = self.low + share * (self.high - self.low)
        return str(round(value)) if self.whole else _plain(value)

    def value(self, share: float) -> float:
        """The value that a trial at this share really has, rounded as `text` is."""
        return float(self.text(share))

    def share(self, value: float) -> float:
        """Where a value lies on the way from `low` to `high`."""
        return (value - self.low) / (self.high - self.low)


def make_axis(address: str, low: Fraction, high: Fraction, whole: bool = False) -> Axis:
    """An axis from what a person typed, its ends rounded as trials have them. Raises UsageError.

    So a trial at an end is one at its share, 0 or 1.
    """
    exact = Axis(address, float(low), float(high), whole)
    axis = replace(exact, low=exact.value(0.0), high=exact.value(1.0))
    if axis.high <= axis.low:
        raise UsageError(
            f"{address}: {float(high):g} is not above {float(low):g} by enough to be told apart. "
            "Give the lower value first."
        )
    return axis


def refuse_unvaried(axis: Axis, document: Node) -> None:
    """Raises FileError, UsageError unless trials of the bench file can have the axis's values."""
    if axis.address == SPEED:
        return
    document.at(axis.address).number()
    if axis.address == SEED:
        raise UsageError("Every trial has a seed of its own already, so 'seed' cannot be varied.")


def axis_from_words(words: list[str]) -> Axis:
    """An axis from its address and two numbers. Raises UsageError."""
    address, *ends = words
    numbers = [parse_number(end) for end in ends]
    if None in numbers:
        raise UsageError(f"{address}: write two numbers after the address, such as 500 6000.")
    low, high = (number for number in numbers if number is not None)
    return make_axis(address, low, high)


def _plain(value: float) -> str:
    """As many digits as a person would type, without an exponent."""
    return format(Decimal(f"{value:.{DIGITS}g}"), "f")
