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
    BoardStatus,
    LinkFailed,
    Parked,
    PulsesCaptured,
    PulsesMissing,
    RunEnded,
    RunStarted,
    StateChanged,
)
from edgewheel.link.events import (
    Event as LinkEvent,
)

PROGRESS_S = 0.1
NEVER_TICK = 1 << 63


class Follower:
    """Follows one run from its order to its parking.

    Judged is what was said and done while the engine turned, from START to the last transition.
    What came before START waits for it, since it says where the engine's time line begins.
    """

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
        self._sparks = SparkCheck(self._truth, plan.wheel, plan.signals.sparks, plan.limits)
        self._judge = SyncJudge(self._truth, plan.signals, plan.limits, self._sparks)
        self._tick_hz = tick_hz
        self._lead_ticks = lead_ticks
        self._names = names
        self._levels = rest
        self._end_s = float(plan.signal.motion.end_s)
        self._origin: int | None = None
        self._early: list[PulsesCaptured | PulsesMissing | StateChanged | Said] = []
        self._ended: RunEnded | None = None
        self._last_tick = NEVER_TICK
        self._heard_tick = 0
        self._gap = False
        self._next_progress_s = 0.0
        self._deaf = False
        self.aborted = False
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
        """The run's events that follow from one step; `Finished` is the last of all."""
        self._deaf = heard.deaf
        parked_tick: int | None = None
        for event in heard.events:
            if isinstance(event, Parked):
                parked_tick = event.tick
            else:
                yield from self._link_event(event)
        for said in heard.said:
            yield from self._in_time(said)
        if self._origin is not None and self._ended is None:
            yield from self._passed(heard)
        if parked_tick is not None:
            yield from self._finish(parked_tick)

    def _passed(self, heard: Heard) -> Iterator[Event]:
        """What follows from the time alone."""
        seconds = self._seconds(heard.tick)
        if heard.deaf:
            self._judge.deaf(seconds)
        yield from self._judge.passed(seconds, self._seconds(self._heard_tick))
        yield from self._progress(seconds)

    def _link_event(self, event: LinkEvent) -> Iterator[Event]:
        if isinstance(event, BoardStatus):
            self._heard_tick = event.status.tick
        elif isinstance(event, PulsesCaptured | PulsesMissing | StateChanged):
            yield from self._in_time(event)
        elif isinstance(event, RunStarted):
            yield from self._start(event)
        elif isinstance(event, RunEnded):
            self._ended = event
            self._last_tick = event.start_tick + event.last_tick
        elif isinstance(event, LinkFailed):
            raise event.error

    def _start(self, event: RunStarted) -> Iterator[Event]:
        self._origin = event.start_tick + self._lead_ticks
        early, self._early = self._early, []
        if not any(isinstance(one, PulsesCaptured) for one in early):
            self._levels = event.input_levels
        yield Began(self._origin, 0.0, self._tick_hz)
        for one in early:
            yield from self._tell(one)

    def _in_time(
        self, one: PulsesCaptured | PulsesMissing | StateChanged | Said
    ) -> Iterator[Event]:
        """What has a place on the engine's time line, once that is known."""
        if self._origin is None:
            self._early.append(one)
        else:
            yield from self._tell(one)

    def _tell(self, one: PulsesCaptured | PulsesMissing | StateChanged | Said) -> Iterator[Event]:
        if isinstance(one, PulsesCaptured):
            yield from self._pulses(one)
        elif isinstance(one, PulsesMissing):
            self._gap = True
            self._judge.pulses_missing(self._seconds(self._heard_tick))
            yield PulsesLost(self._last_s, one.count)
        elif isinstance(one, StateChanged):
            state, reason = one.state.name.lower(), one.reason.name.lower()
            yield BoardSaid(one.tick, self._seconds(one.tick), state, reason, one.played)
        else:
            yield from self._said(one)

    def _pulses(self, event: PulsesCaptured) -> Iterator[Event]:
        for tick, levels in zip(event.ticks, event.levels, strict=True):
            changed = levels ^ self._levels
            self._levels = levels
            seconds = self._last_s = self._seconds(tick)
            # Behind a gap the levels are new, but when they became so nobody knows.
            judged = self._turned(tick) and not self._gap
            self._gap = False
            for line, name in enumerate(self._names):
                if changed >> line & 1:
                    pulse = Pulsed(tick, seconds, name, levels >> line & 1)
                    yield pulse
                    if judged:
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
            if self._turned(said.tick):
                yield from self._judge.report(report)

    def _turned(self, tick: int) -> bool:
        """Was the run under way at a tick?"""
        if self._origin is None:
            return False
        return self._origin - self._lead_ticks <= tick <= self._last_tick

    def _progress(self, seconds: float) -> Iterator[Event]:
        if seconds >= self._next_progress_s:
            self._next_progress_s = seconds + PROGRESS_S
            yield Progress(seconds, self._end_s, self._truth.rpm(seconds))

    def _finish(self, tick: int) -> Iterator[Event]:
        if self._ended is None or self.finished is not None:
            return
        for one in self._early:
            yield from self._tell(one)
        if self._deaf:
            raise BenchError(
                "The controller's port was gone when the run ended, so nothing can be said of its "
                "last part. Plug it in firmly, and run again."
            )
        if self._origin is not None:
            yield from self._judge.ended(self._seconds(self._last_tick))
        self.finished = Finished(
            self._seconds(tick),
            self._ended.verified,
            self.aborted,
            self._ended.explain(),
            self._sparks.compared,
        )
        yield self.finished

    def _seconds(self, tick: int) -> float:
        """On the engine's time line; 0 where there is none, for the run never started."""
        return 0.0 if self._origin is None else (tick - self._origin) / self._tick_hz
