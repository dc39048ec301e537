"""What a test of a suite found, and its words."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Any

from edgewheel.search.qualify.bounds import CONFIDENCE, Bound, Grade, Measured


@dataclass(frozen=True)
class Outcome:
    """A test of the report: one measure against one limit.

    `test` is its name in the plan, `name` that and the measure where the test has several.
    """

    test: str
    name: str
    title: str
    measure: str
    grade: Grade
    sentence: str
    measured: Measured | None
    bound: Bound
    trials: int
    evidence: tuple[dict[str, Any], ...] = ()

    def as_data(self, repeat: str, seconds: float) -> dict[str, Any]:
        """For the summary; `repeat` is the command that plays the test again, `seconds` for how
        long the engine turned in its trials.
        """
        return {
            "name": self.name,
            "title": self.title,
            "verdict": self.grade.value,
            "sentence": self.sentence,
            "measured": self.measured.as_data() if self.measured else None,
            "limit": self.bound.as_data(),
            "marginal": self.bound.marginal,
            "confidence": CONFIDENCE,
            "trials": self.trials,
            "seconds": round(seconds, 3),
            "repeat": repeat,
            "evidence": list(self.evidence),
        }


def number(value: float, unit: str) -> str:
    """A number as a person writes it, with its unit."""
    if value == inf:
        return "never"
    text = f"{value:.4g}" if abs(value) < 1000 else f"{value:.0f}"
    return f"{text} {unit}".strip()


def interval(measured: Measured) -> str:
    """The interval in words."""
    low, high = measured.low, measured.high
    if low == -inf and high == inf:
        return "with nothing to bound it"
    if low == -inf:
        return f"at most {number(high, measured.unit)}"
    if high == inf:
        return f"at least {number(low, measured.unit)}"
    return f"{number(low, '')} to {number(high, measured.unit)}"
