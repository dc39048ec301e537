"""A measured value with its interval, the limit that it is held against, and the verdict."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import inf
from typing import Any, Literal

from edgewheel.errors import UsageError

CONFIDENCE = 0.95
"""Of every interval here."""

Sense = Literal["at_least", "at_most"]


class Grade(StrEnum):
    """The verdict over a test; the worst of all is the verdict over a release."""

    PASSED = "passed"
    MARGINAL = "marginal"
    FAILED = "failed"
    ERROR = "error"
    """The bench, or what it can see, did not allow an answer."""


_WORST_FIRST = (Grade.ERROR, Grade.FAILED, Grade.MARGINAL, Grade.PASSED)


@dataclass(frozen=True)
class Measured:
    """A value between `low` and `high` with 95 % confidence.

    An end is infinite where nothing bounds it: beyond the range that was searched, or for want of
    trials. A value of `inf` is a thing that never happened.
    """

    value: float
    low: float
    high: float
    unit: str

    def as_data(self) -> dict[str, Any]:
        """For JSON; what is not finite is null."""
        return {
            "value": finite(self.value),
            "low": finite(self.low),
            "high": finite(self.high),
            "unit": self.unit,
        }


@dataclass(frozen=True)
class Bound:
    """A limit, and how wide the band inside it is in which a value is marginal."""

    sense: Sense
    value: float
    marginal: float = 0.0

    @property
    def comfortable(self) -> float:
        """Where the marginal band ends."""
        return self.value + (self.marginal if self.sense == "at_least" else -self.marginal)

    def grade(self, measured: Measured) -> Grade:
        """The verdict over a measured value.

        Failed if the value itself breaks the limit; passed if its whole interval lies beyond the
        marginal band; marginal in between. So what is measured too coarsely never passes: the
        guard band of ISO 14253-1 with the interval as the uncertainty.
        """
        value, near = measured.value, measured.low
        limit, comfortable = self.value, self.comfortable
        if self.sense == "at_most":
            value, near, limit, comfortable = -value, -measured.high, -limit, -comfortable
        if value < limit:
            return Grade.FAILED
        return Grade.PASSED if near >= comfortable else Grade.MARGINAL

    def as_data(self) -> dict[str, Any]:
        """For JSON."""
        return {"sense": self.sense, "value": self.value}

    def worse(self, before: float, after: float) -> bool:
        """Whether a change goes towards the limit."""
        return after < before if self.sense == "at_least" else after > before

    def __str__(self) -> str:
        return f"{self.sense.replace('_', ' ')} {self.value:g}"


def worst(grades: list[Grade]) -> Grade:
    """The verdict over all. Raises UsageError where nothing was tested."""
    for grade in _WORST_FIRST:
        if grade in grades:
            return grade
    raise UsageError("No test was played, so there is no verdict.")


def finite(number: float) -> float | None:
    """As JSON has it: what is not finite is null."""
    return number if -inf < number < inf else None
