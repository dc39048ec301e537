"""The output lines: coils, injectors, tacho, each scheduled from the last tooth before its angle.

Angles here are absolute: degrees that only grow while sync lasts, equal to the angle after the
reference modulo the period that is known (180, 360 or 720 degrees). `pace` is ticks a degree.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

from edgewheel.controller.sim.inputs import to_ticks
from edgewheel.controller.sim.scheduler import Scheduler
from edgewheel.controller.sim.settings import (
    IgnitionSettings,
    InjectionSettings,
    TachoSettings,
)


@dataclass(frozen=True, slots=True)
class Moment:
    """What is known as a tooth is dealt with.

    `tick` and `deg` are of the tooth, `horizon_deg` ends what must be scheduled from it, nothing
    can be set before `done`. `pace` is that of the last tooth period, `mean_pace` the averaged
    one.
    """

    tick: int
    deg: float
    horizon_deg: float
    done: int
    pace: float
    mean_pace: float
    advance_deg: float
    spark_allowed: bool
    fuel_allowed: bool

    def tick_at(self, deg: float) -> int:
        """When the engine will stand there, at the pace of now; never before `done`."""
        return max(self.done, round(self.tick + (deg - self.deg) * self.pace))


class Angles:
    """The angles of one channel's events, modulo the period that is known."""

    def __init__(self, angles_deg: Iterable[float], period_deg: float) -> None:
        self.period_deg = period_deg
        self._sorted = sorted({round(angle % period_deg, 9) for angle in angles_deg})

    def after(self, deg: float) -> float:
        """The first event beyond an absolute angle."""
        turns, within = divmod(deg, self.period_deg)
        index = bisect_right(self._sorted, within + 1e-6)
        if index == len(self._sorted):
            turns, index = turns + 1, 0
        return turns * self.period_deg + self._sorted[index]

    def spacing_deg(self) -> float:
        """The least distance of two events."""
        following = [*self._sorted[1:], self._sorted[0] + self.period_deg]
        return min(b - a for a, b in zip(self._sorted, following, strict=True))


class Channel(ABC):
    """One output line. `due_deg` is the absolute angle before which it must be looked at."""

    def __init__(
        self, line: int, active_level: int, delay_ticks: int, scheduler: Scheduler
    ) -> None:
        self.line = line
        self.idle_level = 1 - active_level
        self.due_deg = math.inf
        self._active = active_level
        self._delay = delay_ticks
        self._scheduler = scheduler
        self._free_from = 0

    @abstractmethod
    def start(self, period_deg: float, deg: float, shift_deg: float) -> None:
        """The position is known, modulo the period, from `deg` on; it has jumped by `shift_deg`."""

    @abstractmethod
    def plan(self, moment: Moment) -> None:
        """Schedule what lies before the moment's horizon."""

    @abstractmethod
    def stop(self, now: int) -> None:
        """The position is lost."""

    def _set(self, tick: int, active: bool) -> None:
        """Schedule an edge; the next one may be set from `_free_from` on."""
        level = self._active if active else self.idle_level
        self._scheduler.set(tick + self._delay, self.line, level)
        self._free_from = tick + 1

    def _drop(self, from_tick: int) -> None:
        """Take back the edges set from this tick on."""
        self._scheduler.drop(self.line, from_tick + self._delay)
        self._free_from = from_tick


class Coil(Channel):
    """Charges for the dwell time, fires at the spark angle, never charges too long."""

    def __init__(
        self,
        line: int,
        tdc_deg: tuple[float, ...],
        settings: IgnitionSettings,
        tick_hz: int,
        scheduler: Scheduler,
    ) -> None:
        delay_ticks = to_ticks(settings.output_delay_us, tick_hz)
        super().__init__(line, int(settings.active == "high"), delay_ticks, scheduler)
        self._tdc_deg = tdc_deg
        self._dwell_ticks = to_ticks(settings.dwell_ms * 1000, tick_hz)
        self._longest_ticks = to_ticks(settings.longest_dwell_ms * 1000, tick_hz)
        self._largest_share = settings.largest_dwell_percent / 100
        self._angles = Angles(tdc_deg, 720.0)
        self._longest_deg = 0.0
        self._next_tdc = math.inf
        self._on_tick = -1
        self._charging = False

    def start(self, period_deg: float, deg: float, shift_deg: float) -> None:
        self._angles = Angles(self._tdc_deg, period_deg)
        self._longest_deg = self._largest_share * self._angles.spacing_deg()
        if self._charging:
            self._next_tdc += shift_deg
        else:
            self._next_tdc = self._angles.after(deg)
        self.due_deg = deg

    def plan(self, moment: Moment) -> None:
        while True:
            spark_deg = self._next_tdc - moment.advance_deg
            if not self._charging:
                dwell_deg = min(self._dwell_ticks / moment.mean_pace, self._longest_deg)
                self.due_deg = spark_deg - dwell_deg
                if self.due_deg > moment.horizon_deg:
                    return
                tick = max(moment.tick_at(self.due_deg), self._free_from)
                if not moment.spark_allowed or moment.tick_at(spark_deg) <= tick:
                    self._next_tdc = self._angles.after(self._next_tdc)
                    continue
                self._charge(tick)
            self.due_deg = spark_deg
            if spark_deg > moment.horizon_deg:
                return
            self._fire(moment.tick_at(spark_deg), moment.done)
            self._next_tdc = self._angles.after(self._next_tdc)

    def stop(self, now: int) -> None:
        """A charge to come is dropped; one begun ends, with a stray spark, at the longest dwell."""
        if self._on_tick > now:
            self._drop(self._on_tick)
        self._charging = False
        self.due_deg = math.inf

    def _charge(self, tick: int) -> None:
        self._on_tick = tick
        self._set(tick, True)
        self._set(tick + self._longest_ticks, False)
        self._charging = True

    def _fire(self, tick: int, now: int) -> None:
        self._charging = False
        if tick <= self._on_tick and self._on_tick > now:
            self._drop(self._on_tick)
        elif tick < self._on_tick + self._longest_ticks:
            self._drop(self._on_tick + self._longest_ticks)
            self._set(max(tick, self._on_tick + 1), False)


class Injector(Channel):
    """Opens early enough to close at its angle; what was opened lasts its time."""

    def __init__(
        self,
        line: int,
        tdc_deg: float,
        settings: InjectionSettings,
        tick_hz: int,
        scheduler: Scheduler,
    ) -> None:
        delay_ticks = to_ticks(settings.output_delay_us, tick_hz)
        super().__init__(line, int(settings.active == "high"), delay_ticks, scheduler)
        self._end_deg = tdc_deg - settings.end_before_tdc_deg
        self._duration_ticks = max(1, to_ticks(settings.duration_ms * 1000, tick_hz))
        self._angles = Angles([self._end_deg], 720.0)
        self._next_end = math.inf
        self._on_tick = -1

    def start(self, period_deg: float, deg: float, shift_deg: float) -> None:
        self._angles = Angles([self._end_deg], period_deg)
        self._next_end = self._angles.after(deg)
        self.due_deg = deg

    def plan(self, moment: Moment) -> None:
        while True:
            duration_deg = self._duration_ticks / moment.mean_pace
            self.due_deg = self._next_end - duration_deg
            if self.due_deg > moment.horizon_deg:
                return
            tick = moment.tick_at(self.due_deg)
            wanted = self._next_end > moment.deg and moment.fuel_allowed
            if wanted and tick >= self._free_from:
                self._on_tick = tick
                self._set(tick, True)
                self._set(tick + self._duration_ticks, False)
            self._next_end = self._angles.after(self._next_end)

    def stop(self, now: int) -> None:
        """An opening to come is dropped; one begun lasts its time."""
        if self._on_tick > now:
            self._drop(self._on_tick)
        self.due_deg = math.inf


class Tacho(Channel):
    """A square wave of a stated number of pulses a crank turn."""

    def __init__(self, line: int, settings: TachoSettings, scheduler: Scheduler) -> None:
        super().__init__(line, 1, 0, scheduler)
        self._half_deg = 180.0 / settings.pulses_a_turn
        self._next = 0
        self._level = False

    def start(self, period_deg: float, deg: float, shift_deg: float) -> None:
        self._next = math.floor(deg / self._half_deg) + 1
        self.due_deg = self._next * self._half_deg

    def plan(self, moment: Moment) -> None:
        while self.due_deg <= moment.horizon_deg:
            rises = self._next % 2 == 0
            if rises != self._level:
                self._set(max(moment.tick_at(self.due_deg), self._free_from), rises)
                self._level = rises
            self._next += 1
            self.due_deg = self._next * self._half_deg

    def stop(self, now: int) -> None:
        self.due_deg = math.inf
