"""For a test of a suite that seeks a limit: the failing trial nearest to it, played again."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from edgewheel.errors import EdgewheelError
from edgewheel.report.model import Evidence
from edgewheel.report.pictures.looks import number
from edgewheel.report.source import Source
from edgewheel.search.qualify.bench import QualifyBench, bench_of
from edgewheel.search.qualify.plan import QualifyPlan, SearchTest
from edgewheel.search.qualify.reading import load_qualify
from edgewheel.search.waveform import waveform_of_loss


@dataclass(frozen=True)
class SuiteLosses:
    """Plays trials of a suite's record again: on the simulated bench they come out the same."""

    source: Source

    def of(self, name: str, evidence: Evidence) -> Sequence[Evidence]:
        """The signal around the loss nearest to where a test begins to fail, or to its limit.

        Nothing if no edge was misread there, or if it would take a real bench. Raises UsageError.
        """
        test = self._tests.get(name)
        near = evidence.get("threshold")
        near = evidence.get("limit") if near is None else near
        failed = self._failed(name)
        if test is None or near is None or not failed:
            return []
        address = test.axis.address
        setting, seed = min(failed, key=lambda trial: abs(float(trial[0][address]) - near))
        assert self._plan is not None
        shown = waveform_of_loss(test.kind.plan(self._plan.bench, setting[address], seed))
        if shown is None or not shown["marked"]:
            return []
        told = f"The signal is that of a trial that failed, at {number(float(setting[address]), 5)}"
        unit = f" {test.kind.unit}" if test.kind.unit else ""
        return [shown, {"kind": "words", "words": [f"{told}{unit}."]}]

    @cached_property
    def _plan(self) -> QualifyPlan | None:
        """The plan of the suite on its bench, both from their copies in the folder."""
        folder, played = self.source.folder, self.source.plan
        if played is None:
            return None
        bench = bench_of(folder / self.source.bench_name, played)
        read = (_read(file, bench) for file in sorted(folder.glob("*.yaml")))
        return next(filter(None, read), None)

    @cached_property
    def _tests(self) -> dict[str, SearchTest]:
        tests = self._plan.tests if self._plan is not None else ()
        return {test.name: test for test in tests if isinstance(test, SearchTest)}

    def _failed(self, name: str) -> list[tuple[dict[str, Any], int]]:
        """Setting and seed of each trial of a test that failed."""
        rows = self.source.rows("SELECT setting, seed FROM trial WHERE NOT passed ORDER BY number")
        settings = [(json.loads(setting), seed) for setting, seed in rows]
        return [(setting, seed) for setting, seed in settings if setting.get("test") == name]


def _read(file: Path, bench: QualifyBench) -> QualifyPlan | None:
    try:
        return load_qualify(file, bench)
    except EdgewheelError:
        return None
