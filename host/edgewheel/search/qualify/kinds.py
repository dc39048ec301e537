"""What a test can be: its keys in a plan are the fields of its dataclass.

Two families. A *search* varies one number and asks from which value on the controller fails. A
*sample* repeats the same thing many times, from another crank angle each time, and measures it.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from fractions import Fraction
from typing import Any, ClassVar, Protocol

from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.search.qualify.bench import QualifyBench
from edgewheel.search.qualify.bounds import Measured, Sense
from edgewheel.search.qualify.samples import quantile, share_of
from edgewheel.search.qualify.shown import Shown
from edgewheel.yamlfile import Node

LONGEST_S = 600
FASTEST_RPM_PER_S = 10**6


class SearchKind(Protocol):
    """A test that varies one number: `measure` is its name, `unit` its unit."""

    @property
    def measure(self) -> str:
        """Under which name its limit stands in the plan."""

    @property
    def unit(self) -> str:
        """Of the number that is varied."""

    def plan(self, bench: QualifyBench, text: str, seed: int) -> Plan:
        """The trial at a value, as text. Raises FileError, UsageError."""

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Play it; None if it was stopped by hand. Raises BenchError."""


@dataclass(frozen=True)
class Statistic:
    """What of the trials is held against a limit, on which side it lies, and in which unit.

    A quantile of a figure of the trials; None: the share of trials that passed, in percent.
    `words` say for people what is measured.
    """

    sense: Sense
    unit: str
    words: str
    quantile: float | None = None


@dataclass(frozen=True)
class Figure:
    """A figure of the trials by its name in them, and its words and unit as a title."""

    name: str
    words: str
    unit: str = ""

    @property
    def title(self) -> str:
        """Words with the unit, unless they say it themselves."""
        says_unit = not self.unit or self.unit in self.words.split()
        return self.words if says_unit else f"{self.words} ({self.unit})"


class SampleKind(ABC):
    """A test that repeats one thing. `measures` are named as figures of its trials are."""

    usual_trials: ClassVar[int]
    measures: ClassVar[Mapping[str, Statistic]]

    def needs(self, bench: QualifyBench) -> str:
        """What the bench file must have for this test, in a sentence; empty if it has it."""
        return ""

    @abstractmethod
    def plan(self, bench: QualifyBench, number: int, seed: int, before: Sequence[Shown]) -> Plan:
        """The trial of a number, which may hang on those before. Raises FileError, UsageError."""

    @abstractmethod
    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Play it; None if it was stopped by hand. Raises BenchError."""

    @abstractmethod
    def evidence(self, measure: str, trials: Sequence[Shown]) -> list[dict[str, Any]]:
        """What a report draws of the trials."""

    def figure(self, measure: str) -> Figure:
        """The figure behind a measure."""
        statistic = self.measures[measure]
        return Figure(measure, statistic.words, statistic.unit)

    def words(self, measure: str, trials: Sequence[Shown]) -> str:
        """What the trials showed beside the number, for people; may be empty."""
        failed = [trial.detail for trial in trials if not trial.passed]
        if not failed:
            return ""
        return f"{len(failed)} of {len(trials)} trials failed, the first: {failed[0]}"

    def values(self, measure: str, trials: Sequence[Shown]) -> list[float]:
        """The number of each trial that has one; infinite for what never came."""
        if self.measures[measure].quantile is None:
            return [float(trial.passed) for trial in trials]
        return [float(trial.figures[measure]) for trial in trials if measure in trial.figures]

    def measured(self, measure: str, trials: Sequence[Shown]) -> Measured | None:
        """What the trials say of a measure; None if none of them has it."""
        statistic, values = self.measures[measure], self.values(measure, trials)
        if not values:
            return None
        if statistic.quantile is None:
            return share_of(sum(map(int, values)), len(values))
        return quantile(values, statistic.quantile, statistic.unit)


def set_key(fault: Node, key: str, content: str | tuple[Node, ...]) -> Node:
    """A fault's section with one of its keys set."""
    section = fault.section()
    was = section.nodes.get(key)
    place = was.place if was is not None else fault.place
    return Node(fault.place, {**section.nodes, key: Node(place, content)})


def exact(text: str) -> Fraction:
    """A value as it stands in a plan."""
    return Fraction(text)


def described(thing: Any) -> Any:
    """What a test is, as plain data in which nothing tells where its file lies."""
    if isinstance(thing, Node):
        return described(thing.content)
    if is_dataclass(thing):
        keys = {one.name: described(getattr(thing, one.name)) for one in fields(thing)}
        return {"kind": type(thing).__name__, **keys}
    if isinstance(thing, dict):
        return {key: described(value) for key, value in thing.items()}
    if isinstance(thing, tuple):
        return [described(value) for value in thing]
    return thing if thing is None else str(thing)
