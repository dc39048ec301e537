"""What is known of a live bench at this moment, gathered for whoever asks."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from edgewheel.bench.events import Finished, Reported, SyncGained, SyncLost
from edgewheel.bench.live_leg import Leg
from edgewheel.bench.live_settings import LiveFaults
from edgewheel.bench.live_state import LastLoss, LiveEvent, LivePhase, LiveState
from edgewheel.bench.plan import Plan
from edgewheel.bench.truth import Truth
from edgewheel.clock import Clock
from edgewheel.controller.lines import value


class Watch:
    """The facts of the run that goes on, or of the last one. Whoever shares it locks it."""

    def __init__(self, plan: Plan, clock: Clock) -> None:
        self.phase = LivePhase.CLOSED
        self.why = ""
        self.set_rpm = 0.0
        self.board = ""
        self.ended_why = ""
        self._signals = plan.signals
        self._claims = tuple(value(word) for word in plan.signals.synced)
        self._clock = clock
        self._truth = Truth(plan.signal.motion)
        self._forget()

    def _forget(self) -> None:
        self._leg: Leg | None = None
        self._seconds = 0.0
        self._seen_ns: int | None = None
        self._reported: float | None = None
        self._synced: bool | None = None
        self._losses = 0
        self._last_loss: LastLoss | None = None
        self._folder: Path | None = None
        self.ended_why = ""

    def begin(self, folder: Path) -> None:
        """A new run begins."""
        self._forget()
        self._folder = folder

    def look(self, leg: Leg | None, seconds: float | None) -> None:
        """The run is at `seconds` now, on this leg."""
        if leg is not self._leg and leg is not None:
            self._leg = leg
            self._truth.follow(leg.motion)
        if seconds is not None:
            self._seconds, self._seen_ns = seconds, self._clock.now_ns()

    def end(self) -> None:
        """Nothing turns any more."""
        self._seconds = self._now_s()
        self._seen_ns = self._leg = None

    def hear(self, event: LiveEvent) -> None:
        """Take an event of the run."""
        if isinstance(event, Reported):
            self._report(event)
        elif isinstance(event, SyncGained):
            self._synced = True
        elif isinstance(event, SyncLost):
            self._synced = False
            self._losses += 1
            words = f"{event.detail} ({event.reason})" if event.reason else event.detail
            self._last_loss = LastLoss(event.seconds, words)
        elif isinstance(event, Finished) and not event.aborted:
            self.ended_why = event.detail

    def _report(self, report: Reported) -> None:
        fields, signals = report.fields, self._signals
        rpm = fields.get(signals.speed)
        if isinstance(rpm, float):
            self._reported = rpm
        claims = fields.get(signals.sync)
        if (claims is not None and claims not in self._claims) or self._synced is None:
            self._synced = False

    def spent(self, faults: LiveFaults) -> LiveFaults:
        """The faults, with those off again that have come once."""
        leg = self._leg
        if leg is None:
            return faults
        now_s = Fraction(self._now_s())
        over = {n for n, one in leg.switched.items() if one.once and one.over(now_s)}
        return faults.spent(over)

    def state(self, faults: LiveFaults) -> LiveState:
        """All of it, as it is now."""
        now_s, turning = self._now_s(), self._leg is not None and self._seen_ns is not None
        return LiveState(
            phase=self.phase,
            why=self.why,
            seconds=now_s,
            set_rpm=self.set_rpm,
            pin_rpm=self._truth.rpm(now_s) if turning else 0.0,
            crank_deg=self._truth.angle_deg(now_s),
            reported_rpm=self._reported,
            synced=self._synced,
            losses=self._losses,
            last_loss=self._last_loss,
            faults=dict(faults.states),
            active=self._leg.active(Fraction(now_s)) if self._leg and turning else (),
            board=self.board,
            folder=self._folder,
        )

    def _now_s(self) -> float:
        if self._seen_ns is None:
            return self._seconds
        return self._seconds + (self._clock.now_ns() - self._seen_ns) / 1e9
