"""A run that somebody asked for: rig, record and verdict together."""

from __future__ import annotations

import platform
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from edgewheel import __version__
from edgewheel.bench.events import Event, Understood
from edgewheel.bench.plan import Plan
from edgewheel.bench.record import Record, run_folder
from edgewheel.bench.rig import Rig
from edgewheel.bench.verdict import Outcome, Verdict, VerdictListener
from edgewheel.edges.pins import Move
from edgewheel.errors import BenchError
from edgewheel.fault.model import Changes
from edgewheel.fault.window import EVER

ALL_TICKS = range(-EVER, EVER)


@dataclass
class Runner:
    """Plays one plan with a record in a new folder under `runs`.

    Iterate over `events()`, then read `verdict`. The record is finished whatever happens: a bench
    that fails, a stop by hand, or a mistake in a listener.
    """

    plan: Plan
    runs: Path
    rig: Rig = field(default_factory=Rig)

    def __post_init__(self) -> None:
        self.folder = run_folder(self.runs, self.plan.name)
        self.summary: dict[str, Any] = {}
        self._listener = VerdictListener(self.plan.limits, self.plan.signals)
        self._error: BenchError | None = None

    @property
    def verdict(self) -> Verdict:
        """The verdict, once the events are over."""
        if self._error is not None:
            return Verdict(Outcome.ERROR, str(self._error), None, (), False)
        return self._listener.verdict()

    def events(self) -> Iterator[Event]:
        """What happens, noted in the record as it goes. Raises BenchError after noting it."""
        self.record = Record(self.folder)
        with self.record:
            self.record.inputs(self.plan.inputs, meta_of(self.plan))
            try:
                for event in self.rig.run(self.plan):
                    self._listener.hear(event)
                    if isinstance(event, Understood):
                        self.summary |= {"reader": dict(event.counts), "clock": dict(event.clock)}
                    self.record.event(event)
                    yield event
            except BenchError as error:
                self._error = error
                raise
            finally:
                self._note_edits()
                found = {"board": self.rig.board, "stage": self.rig.stage, **self.verdict.as_data()}
                self.record.finish({**meta_of(self.plan), **found, **self.summary})

    def _note_edits(self) -> None:
        """What faults and the board's limits changed in the table."""
        pipeline, pins = self.rig.pipeline, self.rig.pins
        if pipeline is not None:
            for name, changes in pipeline.changes.items():
                note_changes(self.record, name, changes)
        if pins is not None:
            note_moves(self.record, pins.moves.kept)


def meta_of(plan: Plan) -> dict[str, str]:
    """What a record says of a run beside its inputs."""
    return {
        "name": plan.name,
        "edgewheel": __version__,
        "python": platform.python_version(),
        "seed": str(plan.seed),
        "bench": plan.inputs[0][0] if plan.inputs else "",
    }


def note_changes(record: Record, name: str, changes: Changes, ticks: range = ALL_TICKS) -> None:
    """What one fault did: edges by tick, those within `ticks`; metal by degrees, all else in
    words.
    """
    for metal in changes.metal:
        record.row("edit", None, metal.track, name, "metal", None, None, str(metal))
    if changes.words:
        record.row("edit", None, "", name, "words", None, None, changes.words)
    for edge in changes.kept:
        if edge.tick in ticks:
            values = (edge.kind.value, edge.level, edge.to_tick, "")
            record.row("edit", edge.tick, edge.track, name, *values)


def note_moves(record: Record, moves: Iterable[Move], ticks: range = ALL_TICKS) -> None:
    """The edges within `ticks` that the board's limits moved."""
    for move in moves:
        if move.tick in ticks:
            to_tick = move.tick + move.by_ticks
            record.row("edit", move.tick, move.track, "board", "moved", None, to_tick, "")
