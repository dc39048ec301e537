"""What is known of a live bench at this moment, gathered for whoever asks."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.bench.events import Finished, Reported, SyncGained, SyncLost
from edgewheel.bench.live.settings import LiveFaults
from edgewheel.bench.live.state import (
    CourseRefused,
    LastLoss,
    LiveEvent,
    LivePhase,
    LiveState,
)
from edgewheel.bench.plan import Plan
from edgewheel.bench.truth import Truth
from edgewheel.clock import Clock
from edgewheel.controller.lines import value

if TYPE_CHECKING:
    from edgewheel.bench.live.leg import Leg


@dataclass(frozen=True)
class Facts:
    """What the bench's thread knows. `truth` is of `leg`; `seen_ns` is when `seconds` was true,
    None if nothing turns. `over_ns` is for `LiveFaults.shown`.
    """

    phase: LivePhase = LivePhase.CLOSED
    why: str = ""
    ended_why: str = ""
    set_rpm: float = 0.0
    board: str = ""
    folder: Path | None = None
    leg: Leg | None = None
    truth: Truth | None = None
    seconds: float = 0.0
    seen_ns: int | None = None
    reported_rpm: float | None = None
    synced: bool | None = None
    losses: int = 0
    last_loss: LastLoss | None = None
    over_ns: Mapping[str, int] = field(default_factory=dict)


class Watch:
    """The facts of the run that goes on, or of the last one.

    The bench's thread replaces them whole; any other may ask for the state, and nobody waits.
    """

    def __init__(self, plan: Plan, clock: Clock) -> None:
        self.facts = Facts()
        self._signals = plan.signals
        self._claims = tuple(value(word) for word in plan.signals.synced)
        self._clock = clock
        self._waits: set[str] = set()

    # For the bench's thread

    def enter(self, phase: LivePhase, why: str) -> bool:
        """The bench is in a phase; was it in another?"""
        before = self.facts
        self._learn(phase=phase, why=why)
        return (before.phase, before.why) != (phase, why)

    def order(self, rpm: float) -> None:
        """A speed was ordered."""
        self._learn(set_rpm=rpm)

    def connected(self, board: str) -> None:
        """A board answered."""
        self._learn(board=board)

    def begin(self, folder: Path) -> None:
        """A new run begins."""
        before = self.facts
        self.facts = Facts(
            before.phase,
            set_rpm=before.set_rpm,
            board=before.board,
            folder=folder,
            over_ns=before.over_ns,
        )

    def look(self, leg: Leg | None, seconds: float | None) -> None:
        """The run is at `seconds` now, on this leg."""
        if leg is not None and seconds is not None:
            if leg is not self.facts.leg:
                self._learn(leg=leg, truth=_ready(leg))
            self._learn(seconds=seconds, seen_ns=self._clock.now_ns())
            if self._waits:
                self._end_once(leg, Fraction(seconds))

    def end(self) -> None:
        """Nothing turns any more."""
        self._learn(seconds=self._now_s(self.facts), seen_ns=None)
        self.spent(frozenset(self._waits))

    def wait_for(self, once: Collection[str]) -> None:
        """These faults were asked for once."""
        self._waits |= set(once)

    def spent(self, names: Collection[str]) -> None:
        """These, which were to come once, are over."""
        over_ns = dict.fromkeys(names, self._clock.now_ns())
        self._waits -= set(names)
        self._learn(over_ns={**self.facts.over_ns, **over_ns})

    def hear(self, event: LiveEvent) -> None:
        """Take an event of the run."""
        if isinstance(event, Reported):
            self._report(event)
        elif isinstance(event, SyncGained):
            self._learn(synced=True)
        elif isinstance(event, SyncLost):
            words = f"{event.detail} ({event.reason})" if event.reason else event.detail
            loss = LastLoss(event.seconds, words)
            self._learn(synced=False, losses=self.facts.losses + 1, last_loss=loss)
        elif isinstance(event, Finished) and not event.aborted:
            self._learn(ended_why=event.detail)
        elif isinstance(event, CourseRefused):
            self.spent(frozenset(self._waits))

    def _report(self, report: Reported) -> None:
        fields, signals = report.fields, self._signals
        rpm = fields.get(signals.speed)
        if isinstance(rpm, float):
            self._learn(reported_rpm=rpm)
        claims = fields.get(signals.sync)
        if (claims is not None and claims not in self._claims) or self.facts.synced is None:
            self._learn(synced=False)

    def _end_once(self, leg: Leg, now_s: Fraction) -> None:
        switched = leg.switched
        over = {
            n for n in self._waits if n in switched and switched[n].once and switched[n].over(now_s)
        }
        if over:
            self.spent(over)

    def _learn(self, **facts: object) -> None:
        self.facts = replace(self.facts, **facts)  # type: ignore[arg-type]

    # For everybody

    def state(self, faults: LiveFaults) -> LiveState:
        """All of it, as it is now."""
        facts = self.facts
        now_s, leg, turning = self._now_s(facts), facts.leg, facts.seen_ns is not None
        truth = facts.truth
        return LiveState(
            phase=facts.phase,
            why=facts.why,
            seconds=now_s,
            set_rpm=facts.set_rpm,
            pin_rpm=truth.rpm(now_s) if truth and turning else 0.0,
            crank_deg=truth.angle_deg(now_s) if truth else 0.0,
            reported_rpm=facts.reported_rpm,
            synced=facts.synced,
            losses=facts.losses,
            last_loss=facts.last_loss,
            faults=faults.shown(facts.over_ns),
            active=leg.active(Fraction(now_s)) if leg and turning else (),
            board=facts.board,
            folder=facts.folder,
        )

    def _now_s(self, facts: Facts) -> float:
        if facts.seen_ns is None:
            return facts.seconds
        return facts.seconds + (self._clock.now_ns() - facts.seen_ns) / 1e9


def _ready(leg: Leg) -> Truth:
    """The truth of a leg, made whole here, so that other threads only read it."""
    truth = Truth(leg.motion)
    truth.rpm(0.0)
    return truth
