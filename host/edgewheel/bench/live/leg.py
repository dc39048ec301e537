"""One leg of a live run: from a change of course to the next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import chain

from edgewheel.bench.live.course import SpeedWish, begun, changed
from edgewheel.bench.live.faults import FaultWish, Sensed, Switched, has_window, switched_over
from edgewheel.bench.live.once import once_from
from edgewheel.bench.live.source import Handover, LiveSource, PinLimits, Section
from edgewheel.edges.table import PinChunk
from edgewheel.errors import UsageError
from edgewheel.link.course import SplicePoint
from edgewheel.motion.manoeuvres import RippleSource
from edgewheel.motion.motion import Motion


@dataclass(frozen=True, eq=False)
class Leg:
    """A course in force from `begin_tick` of the table on.

    `motion` and `switched` hold for the whole run up to here, and on from here if nobody changes
    them; `source` makes its transitions.
    """

    motion: Motion
    switched: Mapping[str, Switched]
    begin_tick: int
    source: LiveSource

    @property
    def rpm(self) -> float:
        """The speed to which it leads."""
        return float(self.motion[len(self.motion) - 1].segment.rpm_end)

    def active(self, at_s: Fraction) -> tuple[str, ...]:
        """The faults that are there at a time."""
        return tuple(name for name, one in self.switched.items() if one.there(at_s))


@dataclass(frozen=True)
class Wish:
    """What is to be different: another speed, if any, and the faults from now on."""

    speed: SpeedWish | None = None
    faults: FaultWish = field(default_factory=FaultWish)


@dataclass(frozen=True)
class Planner:
    """Makes legs. `start` says where the crank stands at first and how cams are timed, `order`
    names all faults of the bench file.
    """

    sensed: Sensed
    start: Motion
    ripple: RippleSource
    order: tuple[str, ...]
    limits: PinLimits

    def first(self, rpm: Fraction, switched: Mapping[str, Switched]) -> Leg:
        """The leg that begins a run. Raises UsageError where it cannot be."""
        return self._leg(begun(self.start, rpm, self.ripple), switched, 0, None)

    def next(self, leg: Leg, wish: Wish, point: SplicePoint) -> Leg:
        """The leg that follows from a place of the stream on. Raises UsageError."""
        begin = self._begin(point)
        at_s = Fraction(begin, self.limits.tick_hz)
        motion = leg.motion
        if wish.speed is not None:
            motion = changed(motion, at_s, wish.speed, self.ripple)
        once = self._once(leg, wish.faults, motion, at_s)
        switched = switched_over(leg.switched, wish.faults, at_s, once, self.order)
        return self._leg(motion, switched, begin, self._handover(leg, point))

    def again(self, leg: Leg, point: SplicePoint) -> Leg:
        """The same course once more, from a place of the stream on."""
        begin = self._begin(point)
        return self._leg(leg.motion, leg.switched, begin, self._handover(leg, point))

    def _begin(self, point: SplicePoint) -> int:
        """The table tick from which edges reach the pins no earlier than at a place."""
        limits = self.limits
        return max(point.from_tick - limits.lead_ticks + limits.stage.longest_ticks, 0)

    def _handover(self, leg: Leg, point: SplicePoint) -> Handover:
        first = leg.source.pins.header.initial_mask if point.mask is None else point.mask
        return Handover(point.after_tick, self.limits.levels(first))

    def _once(
        self, leg: Leg, wish: FaultWish, motion: Motion, at_s: Fraction
    ) -> dict[str, Switched]:
        """When faults come that are asked for once, and those that still wait for their place."""
        asked = {n: s for n, s in leg.switched.items() if s.once and n in wish.awaited}
        waiting = {name: one.fault for name, one in asked.items() if not one.begun(at_s)}
        faults = {**waiting, **wish.once}
        if not faults:
            return {}
        sound = self.sensed.signal(motion, {}, at_s)
        tick_hz = self.limits.tick_hz
        return {name: once_from(fault, sound, at_s, tick_hz) for name, fault in faults.items()}

    def _leg(
        self,
        motion: Motion,
        switched: Mapping[str, Switched],
        begin: int,
        handover: Handover | None,
    ) -> Leg:
        sections = list(self._sections(motion, switched, begin))
        return Leg(motion, switched, begin, LiveSource(sections, self.limits, handover))

    def _sections(
        self, motion: Motion, switched: Mapping[str, Switched], begin: int
    ) -> Iterator[Section]:
        """A new section begins where a fault of the wheel comes or goes; the others have windows
        of their own.
        """
        tick_hz = self.limits.tick_hz
        metal = [one for one in switched.values() if not has_window(one.fault)]
        times = {s for one in metal for s in (one.from_s, one.to_s) if s is not None}
        ticks = {begin} | {tick for s in times if (tick := round(s * tick_hz)) > begin}
        for tick in sorted(ticks):
            at_s = Fraction(tick, tick_hz)
            yield Section(self.sensed.signal(motion, switched, at_s), tick)


@dataclass
class Change:
    """A change of course under way: makes the new leg for whatever place the board can give it.

    It is asked in the thread that drives the session; `leg` is what it made last. Where the wish
    cannot be played, that is the old course once more, and `error` says why.
    """

    planner: Planner
    before: Leg
    wish: Wish
    leg: Leg | None = None
    error: UsageError | None = None

    def __call__(self, point: SplicePoint) -> Iterator[PinChunk]:
        """The transitions of the new leg."""
        try:
            self.leg = self.planner.next(self.before, self.wish, point)
            self.error = None
            return _begun(self.leg.source.chunks())
        except UsageError as error:
            self.error = error
            self.leg = self.planner.again(self.before, point)
            return self.leg.source.chunks()


def _begun(chunks: Iterator[PinChunk]) -> Iterator[PinChunk]:
    """The same, the first of them made already, so that what cannot be played shows at once."""
    return chain([next(chunks)], chunks)
