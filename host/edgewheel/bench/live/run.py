"""One run of a live bench: from a start to the parking of the pins, with its record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.events import Event, Finished, Understood
from edgewheel.bench.follow import Follower
from edgewheel.bench.links import BenchLink, Heard
from edgewheel.bench.live.faults import FaultWish, Sensed
from edgewheel.bench.live.leg import Change, Leg, Planner, Wish
from edgewheel.bench.live.record import LiveRecord
from edgewheel.bench.live.settings import ripple_of, sensors_of
from edgewheel.bench.live.source import PinLimits
from edgewheel.bench.live.state import CourseRefused, CourseTaken, LiveEvent
from edgewheel.bench.measured_stage import with_measured_stage
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import lead_ticks, named
from edgewheel.bench.stages import heard
from edgewheel.bench.truth import Truth
from edgewheel.errors import BenchError
from edgewheel.link.events import Event as LinkEvent
from edgewheel.link.events import RunStarted, SpliceRefused, SpliceTaken
from edgewheel.link.hostrun import Live, RunOrder
from edgewheel.link.welcome import Welcome


@dataclass(frozen=True)
class Order:
    """A wish, and the board's tick at which somebody had it."""

    wish: Wish
    tick: int


class LiveRun:
    """Raises BenchError when board, cable or disk fail, UsageError when it cannot be begun.

    One change of course is under way at a time; what is ordered meanwhile is one wish after it.
    """

    def __init__(
        self,
        plan: Plan,
        link: BenchLink,
        welcome: Welcome,
        runs: Path,
        rest_levels: int,
        faults: FaultWish,
    ) -> None:
        """`faults` says which are there when it begins."""
        plan = with_measured_stage(plan, welcome)
        sensed = Sensed(plan.wheel, heard(sensors_of(plan), plan.stage), plan.seed)
        self._first = faults.switched
        signal = sensed.signal(plan.signal.motion, self._first, Fraction(0))
        # Of voltages the board is told once: of the wheel as it is when the run begins.
        self._plan = plan = replace(plan, signal=signal)
        self._link = link
        stage = plan.output_stage(welcome.tick_hz)
        lead = lead_ticks(stage, welcome)
        limits = PinLimits(
            welcome.tick_hz, stage, lead, welcome.shortest_hold_ticks, plan.number_lines
        )
        order = tuple(plan.document.section().nodes["faults"].section().nodes) if _has(plan) else ()
        self._planner = Planner(sensed, plan.signal.motion, ripple_of(plan), order, limits)
        self._tick_hz = welcome.tick_hz
        self._truth = Truth(plan.signal.motion)
        self._follower = Follower(
            plan, welcome.tick_hz, lead, link.input_names, rest_levels, self._truth
        )
        self._tally = link.tally()
        self._pending: tuple[Change, int] | None = None
        self._waiting: Order | None = None
        self._lead = lead
        self._origin: int | None = None
        self.record = LiveRecord(plan, runs, named(welcome))
        self.leg: Leg | None = None

    def begin(self, rpm: Fraction) -> None:
        """Let the engine turn."""
        leg = self._planner.first(rpm, self._first)
        header, source = leg.source.pins.header, leg.source.chunks()
        lag = self._plan.transitions_per_cycle
        waves = self._plan.waves(header.tick_hz)
        self._link.order(RunOrder(header, source, lag_hint=lag, live=Live(), waves=waves))
        self._follow(leg)

    def change(self, order: Order) -> None:
        """Change course as soon as the board can; a newer wish for the speed replaces an older."""
        before = self._waiting
        if before is not None:
            speed = order.wish.speed or before.wish.speed
            faults = order.wish.faults.after(before.wish.faults)
            order = Order(Wish(speed, faults), before.tick)
        self._waiting = order
        self._submit()

    def park(self) -> None:
        """Bring the pins to their idle levels at once."""
        self._follower.aborted = True
        self._link.park()

    def take(self, heard: Heard) -> Iterator[LiveEvent]:
        """What follows from one step; the last event is `Finished`, when the pins are parked."""
        for event in heard.events:
            if isinstance(event, RunStarted):
                self._origin = event.start_tick + self._lead
            yield from self._course(event)
        for found in self._follower.take(heard):
            if isinstance(found, Finished):
                yield self._heard(Understood(self._said(), self._link.clock()))
            yield self._heard(found)

    def close(self, error: BenchError | None = None) -> None:
        """Finish the record."""
        if self.leg is not None:
            self.record.leg(self.leg, None)
            self.record.follow(self.leg, over=True)
        self.record.finish(error)

    @property
    def parking(self) -> bool:
        """Was it parked by order?"""
        return self._follower.aborted

    @property
    def over(self) -> bool:
        """Are the pins parked?"""
        return self._follower.finished is not None

    @property
    def levels(self) -> int:
        """The mask of the inputs' levels as last heard of."""
        return self._follower.levels

    def seconds(self, tick: int) -> float | None:
        """A board tick as seconds after table tick 0; None before the run has started."""
        return None if self._origin is None else (tick - self._origin) / self._tick_hz

    def _heard(self, event: Event) -> Event:
        self.record.event(event)
        return event

    def _said(self) -> dict[str, int]:
        """What the controller said in this run, by kind."""
        return {kind: n - self._tally.get(kind, 0) for kind, n in self._link.tally().items()}

    def _submit(self) -> None:
        if self._pending is not None or self._waiting is None or self.leg is None:
            return
        order, self._waiting = self._waiting, None
        change = Change(self._planner, self.leg, order.wish)
        self._pending = change, order.tick
        self._link.change(change)

    def _course(self, event: LinkEvent) -> Iterator[LiveEvent]:
        """What the board says to a change of course."""
        if self._pending is None:
            return
        change, tick = self._pending
        if isinstance(event, SpliceTaken) and change.leg is not None:
            self._pending = None
            yield from self._taken(change, change.leg, tick)
        elif isinstance(event, SpliceRefused) and event.given_up:
            self._pending = None
            yield CourseRefused(
                "The board could not take the new course in time, so the old one goes on: try "
                "again, or look at the link with 'edgewheel doctor'"
            )
        self._submit()

    def _taken(self, change: Change, leg: Leg, asked_tick: int) -> Iterator[LiveEvent]:
        """The board has taken a leg."""
        assert self.leg is not None and self._origin is not None
        self.record.leg(self.leg, leg)
        self._follow(leg)
        if change.error is not None:
            yield CourseRefused(str(change.error))
            return
        tick = self._origin + leg.begin_tick
        after_ms = (tick - asked_tick) * 1000 / self._tick_hz
        seconds = leg.begin_tick / self._tick_hz
        yield CourseTaken(tick, seconds, leg.rpm, after_ms)

    def _follow(self, leg: Leg) -> None:
        self.leg = leg
        self._truth.follow(leg.motion)
        self.record.follow(leg)


def _has(plan: Plan) -> bool:
    return "faults" in plan.document.section().nodes
