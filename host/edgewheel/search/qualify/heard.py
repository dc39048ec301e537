"""A run that is only in memory, for what asks a recorded one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from edgewheel.bench.events import (
    Began,
    Cut,
    Event,
    Finished,
    Pulsed,
    PulsesLost,
    Reported,
    SyncGained,
    SyncLost,
)
from edgewheel.bench.plan import Plan
from edgewheel.controller.lines import Fields
from edgewheel.search.recorded import Edges, Finding


@dataclass
class HeardRun:
    """Listens to a run; then it answers as `edgewheel.search.recorded.RecordedRun` does."""

    plan: Plan
    folder: Path = Path("memory")
    tick_hz: int = 1
    finished: Finished | None = None
    _pulses: dict[str, list[tuple[float, int]]] = field(default_factory=dict)
    _reports: list[tuple[float, Fields]] = field(default_factory=list)
    _findings: list[Finding] = field(default_factory=list)

    def hear(self, event: Event) -> None:
        """Take an event of the run."""
        if isinstance(event, Pulsed):
            self._pulses.setdefault(event.line, []).append((event.seconds, event.level))
        elif isinstance(event, Reported):
            self._reports.append((event.seconds, dict(event.fields)))
        elif isinstance(event, Began):
            self.tick_hz = event.tick_hz
        elif isinstance(event, Finished):
            self.finished = event
        else:
            self._findings += _finding(event)

    def pulses(self) -> dict[str, Edges]:
        """The captured edges of each line."""
        return {
            name: (np.array([s for s, _ in rows]), np.array([level for _, level in rows], np.int64))
            for name, rows in sorted(self._pulses.items())
        }

    def reports(self) -> Iterator[tuple[float, Fields]]:
        """(seconds, fields) of each report, in the order of arrival."""
        yield from self._reports

    def findings(self) -> list[Finding]:
        """What the judge found, in the order of time."""
        return self._findings


def _finding(event: Event) -> list[Finding]:
    if isinstance(event, SyncGained):
        return [Finding(event.seconds, event.rpm, "gained", "", "", "")]
    if isinstance(event, SyncLost):
        cause = event.cause.value
        return [Finding(event.seconds, event.rpm, "lost", cause, event.detail, event.reason)]
    if isinstance(event, Cut):
        return [Finding(event.seconds, event.rpm, "sparks" if event.sparks else "cut", "", "", "")]
    if isinstance(event, PulsesLost):
        detail = f"{event.count} edges of the outputs never came"
        return [Finding(event.seconds, 0.0, "pulses_missing", "", detail, "")]
    return []
