"""A report before it is a page: verdicts, tests, evidence and inputs, whatever made the folder."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from edgewheel.wheel.model import Wheel

Evidence = Mapping[str, Any]
"""A picture's data, as JSON has it; "kind" says which picture."""


class Grade(StrEnum):
    """The verdict over a test."""

    PASSED = "passed"
    MARGINAL = "marginal"
    FAILED = "failed"
    ERROR = "error"
    """The bench, or what it can see, did not allow an answer."""
    STOPPED = "stopped"
    """Somebody stopped it before its end."""
    MEASURED = "measured"
    """Something was measured; no limit was set that it could break."""


@dataclass(frozen=True)
class Table:
    """Cells as text; `head` names the columns."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Picture:
    """A picture, its data in a table, and how to read it.

    `spec` is a Vega-Lite specification. `alt` says in a sentence what is to be seen.
    """

    title: str
    alt: str
    note: str
    spec: Mapping[str, Any]
    table: Table | None = None


@dataclass(frozen=True)
class Advice:
    """What to do next, and the command for it."""

    text: str
    command: str = ""


@dataclass(frozen=True)
class Case:
    """One point of a test that CI counts by itself."""

    name: str
    grade: Grade
    sentence: str


@dataclass(frozen=True)
class Test:
    """One test, or the one thing that a command did.

    `measured`, `limit` and `confidence` are words, empty where there is nothing to say; `seconds`
    is for how long the engine turned in it.
    `evidence` is made when it is asked for: some of it takes time.
    """

    name: str
    title: str
    grade: Grade
    sentence: str
    measured: str = ""
    limit: str = ""
    confidence: str = ""
    trials: int | None = None
    seconds: float = 0.0
    repeat: str = ""
    evidence: Callable[[], Sequence[Evidence]] = tuple
    cases: tuple[Case, ...] = ()


@dataclass(frozen=True)
class File:
    """A copy of an input."""

    name: str
    text: str


@dataclass(frozen=True)
class Against:
    """How it stands beside an earlier run: sentences on what got worse and what got better.

    `compared` is the number of measures; `not_compared` are those, or whole tests, that were not
    asked alike or not measured in both.
    """

    folder: str
    worse: tuple[str, ...]
    better: tuple[str, ...]
    compared: int = 0
    not_compared: tuple[str, ...] = ()


@dataclass(frozen=True)
class Report:
    """Everything that the page, the JUnit file and the JSON are made from.

    `answer` is the verdict as a sentence, `tested` what was tested, `facts` label and value.
    """

    kind: str
    title: str
    grade: Grade
    answer: str
    tested: str
    advice: tuple[Advice, ...]
    tests: tuple[Test, ...]
    facts: tuple[tuple[str, str], ...]
    files: tuple[File, ...]
    repeat: str
    wheel: Wheel | None = None
    against: Against | None = None
    overview: tuple[Evidence, ...] = ()
    """Pictures of all tests together."""

    def count(self, grade: Grade) -> int:
        """How many tests have this verdict."""
        return sum(test.grade is grade for test in self.tests)

    @property
    def wrong(self) -> tuple[Test, ...]:
        """The tests that did not pass, the worst first."""
        order = (Grade.ERROR, Grade.FAILED, Grade.MARGINAL, Grade.STOPPED)
        wrong = [test for test in self.tests if test.grade in order]
        return tuple(sorted(wrong, key=lambda test: order.index(test.grade)))
