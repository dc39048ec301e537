"""A plan of tests, understood: which bench, which tests, and the limits they are held against."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from edgewheel.search.axis import Axis
from edgewheel.search.qualify.bench import QualifyBench
from edgewheel.search.qualify.bounds import Bound
from edgewheel.search.qualify.kinds import SampleKind, SearchKind
from edgewheel.search.threshold import Wanted


@dataclass(frozen=True)
class SearchTest:
    """One number varied until the controller fails. `asked` tells it from all other tests."""

    name: str
    title: str
    kind: SearchKind
    axis: Axis
    wanted: Wanted
    bound: Bound
    asked: str

    @property
    def bounds(self) -> Mapping[str, Bound]:
        """Its one limit, by the measure that it is of."""
        return {self.kind.measure: self.bound}

    def name_of(self, _: str) -> str:
        """The name of its measure in the report."""
        return self.name

    def title_of(self, _: str) -> str:
        """The title of its measure in the report."""
        return self.title


@dataclass(frozen=True)
class SampleTest:
    """The same thing repeated; each of its measures is a test of the report."""

    name: str
    title: str
    kind: SampleKind
    trials: int
    bounds: Mapping[str, Bound]
    asked: str

    def name_of(self, measure: str) -> str:
        """The name of a measure in the report."""
        return f"{self.name}.{measure}" if len(self.bounds) > 1 else self.name

    def title_of(self, measure: str) -> str:
        """The title of a measure in the report."""
        own = self.kind.figure(measure).title
        return f"{self.title}: {own}" if len(self.bounds) > 1 else self.title


Test = SearchTest | SampleTest


@dataclass(frozen=True)
class QualifyPlan:
    """A plan's tests in the order of the file. `inputs` are copied into the record's folder."""

    name: str
    file: Path
    bench: QualifyBench
    seed: int
    tests: tuple[Test, ...]
    inputs: tuple[tuple[str, str], ...] = field(default_factory=tuple)
