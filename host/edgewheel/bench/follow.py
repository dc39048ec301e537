"""Turns what board and controller say into the events of a run, on the engine's time line."""

from __future__ import annotations

from collections.abc import Iterator

from edgewheel.bench.events import (
    Began,
    BoardSaid,
    Event,
    Finished,
    Progress,
    Pulsed,
    PulsesLost,
    RawBytes,
    Reported,
)
from edgewheel.bench.judge import SyncJudge
from edgewheel.bench.links import Heard, Said
from edgewheel.bench.plan import Plan
from edgewheel.bench.position import SparkCheck
from edgewheel.bench.truth import Truth
from edgewheel.controller.reader import CanFrame
from edgewheel.errors import BenchError
from edgewheel.link.events import (
    Event as LinkEvent,
)
from edgewheel.link.events import (
    LinkFailed,
    Parked,
    PulsesCaptured,
    PulsesMissing,
    RunEnded,
    RunStarted,
    StateChanged,
)

PROGRESS_S = 0.1


class Follower:
    """Follows one run from its order to its parking."""

    def __init__(
        self,
        plan: Plan,
        tick_hz: int,
        lead_ticks: int,
        names: tuple[str, ...],
        rest: int,
        truth: Truth | None = None,
    ) -> None:
        """`rest` is the mask of the inputs' levels before the run; `truth` is for a live run, whose
        motion changes.
        """
        self._truth = truth or Truth(plan.signal.motion)
        sparks = SparkCheck(self._truth, plan.wheel, plan.signals.sparks, plan.limits)
        self._judge = SyncJudge(self._truth, plan.signals, plan.limits, sparks)
        self._tick_hz = tick_hz
        self._lead_ticks = lead_ticks
        self._names = names
        self._levels = rest
        self._has_pulses = False
        self._end_s = float(plan.signal.motion.end_s)
        self._origin: int | None = None
        self._ended: RunEnded | None = None
        self._next_progress_s = 0.0
        self._deaf = False
        self.aborted = False
        self.missing_pulses = 0
        self._last_s = 0.0
        self.finished: Finished | None = None

    @property
    def origin(self) -> int | None:
        """The board's tick at table tick 0, None before the run has started."""
        return self._origin

    @property
    def levels(self) -> int:
        """The mask of the inputs' levels as last heard of."""
        return self._levels

    def take(self, heard: Heard) -> Iterator[Event]:
        """The run's events that follow from one step."""
        self._deaf = heard.deaf
        for event in heard.events:
            yield from self._link_event(event)
        for said in heard.said:
            yield from self._said(said)
        if self._origin is not None and self._ended is None:
            seconds = self._seconds(heard.tick)
            if heard.deaf:
                self._judge.deaf(seconds)
            yield from self._judge.passed(seconds)
            yield from self._progress(seconds)

    def _link_event(self, event: LinkEvent) -> Iterator[Event]:
        if isinstance(event, RunStarted):
            self._origin = event.start_tick + self._lead_ticks
            if not self._has_pulses:
                self._levels = event.input_levels
            yield Began(self._origin, 0.0, self._tick_hz)
        elif isinstance(event, PulsesCaptured):
            yield from self._pulses(event)
        elif isinstance(event, PulsesMissing):
            self.missing_pulses += event.count
            yield PulsesLost(self._last_s, event.count)
        elif isinstance(event, StateChanged):
            seconds = self._seconds(event.tick)
            state, reason = event.state.name.lower(), event.reason.name.lower()
            yield BoardSaid(event.tick, seconds, state, reason, event.played)
        elif isinstance(event, RunEnded):
            self._ended = event
        elif isinstance(event, Parked):
            yield from self._finish(event.tick)
        elif isinstance(event, LinkFailed):
            raise event.error

    def _pulses(self, event: PulsesCaptured) -> Iterator[Event]:
        self._has_pulses = True
        for tick, levels in zip(event.ticks, event.levels, strict=True):
            changed = levels ^ self._levels
            self._levels = levels
            seconds = self._last_s = self._seconds(tick)
            for line, name in enumerate(self._names):
                if changed >> line & 1:
                    pulse = Pulsed(tick, seconds, name, levels >> line & 1)
                    yield pulse
                    if self._ended is None and self._origin is not None:
                        self._judge.pulse(pulse)

    def _said(self, said: Said) -> Iterator[Event]:
        seconds = self._seconds(said.tick)
        piece = said.piece
        data = f"({seconds:.6f}) {piece}\n".encode() if isinstance(piece, CanFrame) else piece
        yield RawBytes(said.tick, seconds, data)
        for read in said.reports:
            uncertainty_s = said.uncertainty_ticks / self._tick_hz
            report = Reported(said.tick, seconds, read.text, read.fields, uncertainty_s)
            yield report
            if self._ended is None and self._origin is not None:
                yield from self._judge.report(report)

    def _progress(self, seconds: float) -> Iterator[Event]:
        if seconds >= self._next_progress_s:
            self._next_progress_s = seconds + PROGRESS_S
            yield Progress(seconds, self._end_s, self._truth.rpm(seconds))

    def _finish(self, tick: int) -> Iterator[Event]:
        if self._ended is None or self.finished is not None:
            return
        if self._deaf:
            raise BenchError(
                "The controller's port was gone when the run ended, so nothing can be said of its "
                "last part. Plug it in firmly, and run again."
            )
        self.finished = Finished(
            self._seconds(tick), self._ended.verified, self.aborted, self._ended.explain()
        )
        yield self.finished

    def _seconds(self, tick: int) -> float:
        return (tick - (self._origin or 0)) / self._tick_hz
