"""The record of a live run: the folder that `run` writes, with the course that was really taken."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from edgewheel.bench.events import Event, Finished, Progress, Pulsed, Reported, Understood
from edgewheel.bench.live.faults import Switched
from edgewheel.bench.live.leg import Leg
from edgewheel.bench.live.script import not_again, script_of
from edgewheel.bench.live.settings import LiveFaults
from edgewheel.bench.measured_stage import stage_words
from edgewheel.bench.plan import Plan
from edgewheel.bench.record import Record, run_folder
from edgewheel.bench.runner import meta_of, note_changes, note_moves
from edgewheel.bench.verdict import Outcome, Verdict, VerdictListener
from edgewheel.errors import BenchError
from edgewheel.fault.model import MetalChange
from edgewheel.fault.window import EVER


class LiveRecord:
    """The plan is as the board plays it, with its measured stage. Raises BenchError when the disk
    does not take it.
    """

    def __init__(self, plan: Plan, runs: Path, board: str) -> None:
        self.folder = run_folder(runs, plan.name)
        self._plan = plan
        self._listener = VerdictListener(plan.limits, plan.signals, open_end=True)
        self._summary: dict[str, Any] = {"board": board, "stage": stage_words(plan)}
        self._record = Record(self.folder)
        self._record.inputs(plan.inputs, meta_of(plan))
        self._switched: dict[tuple[str, Fraction | None], Switched] = {}
        self._faults = LiveFaults.of(plan).faults
        self._said: set[tuple[str, tuple[MetalChange, ...], str]] = set()
        self._seconds: float | None = None
        self._reached_s = 0.0

    def event(self, event: Event) -> None:
        """Note what happened."""
        self._listener.hear(event)
        if isinstance(event, Reported | Pulsed | Progress):
            self._reached_s = max(self._reached_s, event.seconds)
        if isinstance(event, Finished):
            self._seconds = event.seconds
        if isinstance(event, Understood):
            self._summary |= {"reader": dict(event.counts), "clock": dict(event.clock)}
        self._record.event(event)

    def leg(self, leg: Leg, following: Leg | None) -> None:
        """Note what faults and the board's limits changed while a leg was in force."""
        ticks = range(leg.begin_tick, following.begin_tick if following else EVER)
        for pipeline in leg.source.pipelines:
            for name, changes in pipeline.changes.items():
                said = (name, changes.metal, changes.words)
                if said in self._said:
                    changes = replace(changes, metal=(), words="")
                self._said.add(said)
                note_changes(self._record, name, changes, ticks)
        note_moves(self._record, leg.source.pins.moves.kept, ticks)

    def follow(self, leg: Leg, over: bool = False) -> None:
        """Note the course from now on; what is in the folder is right at any time.

        One that is over ends where it was last heard of, if the bench was lost before it parked.
        """
        tick_hz = leg.source.pins.header.tick_hz
        begin_s = Fraction(leg.begin_tick, tick_hz)
        if over and self._seconds is None:
            self._seconds = max(self._reached_s, float(begin_s)) or None
        wanted = {(name, one.from_s): one for name, one in leg.switched.items()}
        gone = {k: one for k, one in self._switched.items() if k not in wanted}
        past = {k: one.ended(begin_s) for k, one in gone.items() if one.begun(begin_s)}
        self._switched = {k: one for k, one in {**past, **wanted}.items() if not one.void}
        end_s = leg.motion.end_s
        if self._seconds is not None:
            # Of a float, a number could come that no bench file takes.
            end_s = Fraction(round(self._seconds * tick_hz), tick_hz)
        on = self._stretches()
        script = script_of(self._plan.document, leg.motion, end_s, self._faults, on)
        self._record.inputs([(self._plan.inputs[0][0], script)], {})

    def finish(self, error: BenchError | None) -> None:
        """Close it and write the summary."""
        verdict = self._listener.verdict()
        if error is not None:
            verdict = Verdict(Outcome.ERROR, str(error), None, (), False)
        faults = [
            {"name": name, "from_s": _float(one.from_s), "to_s": _float(one.to_s)}
            for (name, _), one in self._switched.items()
        ]
        live: dict[str, Any] = {"kind": "live", "faults": faults}
        why = not_again(self._stretches())
        if why:
            live["not_again"] = why
        self._record.finish({**meta_of(self._plan), **live, **self._summary, **verdict.as_data()})

    def _stretches(self) -> dict[str, list[Switched]]:
        """When each fault was on the pins, in the order of time."""
        found: dict[str, list[Switched]] = {name: [] for name in self._faults}
        for (name, _), one in self._switched.items():
            found[name].append(one)
        return found


def _float(seconds: Fraction | None) -> float | None:
    return None if seconds is None else float(seconds)
