"""The same sweep with one thing changed at a time: what must be true for the fault to show."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from edgewheel.bench.events import Progress
from edgewheel.bench.loader import read_plan
from edgewheel.bench.plan import Plan
from edgewheel.search.sweep import PointResult, Sweep, SweepResult
from edgewheel.yamlfile import Node, document_text


@dataclass(frozen=True)
class Change:
    """One number of a bench file, by its address, and what the change means to a person."""

    meaning: str
    address: str
    value: str


@dataclass(frozen=True)
class Trial:
    """A sweep and what was changed for it; no change is the case itself."""

    change: Change | None
    result: SweepResult
    folder: Path


class Comparison:
    """Sweeps a plan as it is, then once for each change. Iterate over `items()`, read `trials`."""

    def __init__(self, plan: Plan, file: Path, changes: tuple[Change, ...], runs: Path) -> None:
        self._plan = plan
        self._file = file
        self._changes = (None, *changes)
        self._runs = runs
        self._sweep: Sweep | None = None
        self._stopped = False
        self.trials: list[Trial] = []

    def stop(self) -> None:
        """Park, finish the sweep that is going on as aborted, and start no other."""
        self._stopped = True
        if self._sweep is not None:
            self._sweep.runner.rig.abort()

    @property
    def stopped(self) -> bool:
        """Whether it was stopped before its end."""
        return self._stopped

    def items(self) -> Iterator[PointResult | Progress | Trial]:
        """Points and progress of each sweep as it goes, then the trial. Raises BenchError."""
        for change in self._changes:
            if self._stopped:
                return
            sweep = self._sweep = Sweep(self._changed(change), self._runs)
            if self.stopped:  # while it was made, so that the one before was told
                return
            yield from sweep.items()
            if not self._stopped:
                self.trials.append(Trial(change, sweep.result, sweep.runner.folder))
                yield self.trials[-1]

    def _changed(self, change: Change | None) -> Plan:
        if change is None:
            return self._plan
        document = self._plan.document.with_value(change.address, change.value)
        plan = read_plan(document, self._file)
        (name, _), *others = plan.inputs
        return replace(plan, inputs=((name, _text(document, change)), *others))


def _text(document: Node, change: Change) -> str:
    """The bench file as it was changed, for the record: what it holds must be what was played."""
    return f"# Changed: {change.meaning}.\n{document_text(document)}"
