"""From the pin to the edges that interrupt: capacitor, noise filter, edge choice, blanking.

Every stage takes the transitions of its input up to `now` and gives those of its output up to
`now`; what is still undecided stays inside, so the result is the same however the stream is cut.
Levels are 0 and 1. An array of ticks is int64 and ascending.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from edgewheel.controller.sim.settings import EdgeChoice, InputSettings, RcSettings

Ticks = npt.NDArray[np.int64]
Levels = npt.NDArray[np.uint8]
Changes = tuple[Ticks, Levels]
_Number = TypeVar("_Number", bound=np.generic)
NEVER = 1 << 62


class Stage(Protocol):
    """One part of an input. A reluctor's amplitude threshold is one more of these."""

    def push(self, ticks: Ticks, levels: Levels, now: int) -> Changes:
        """The output's transitions up to `now`, from the input's up to `now`."""


def to_ticks(microseconds: float, tick_hz: int) -> int:
    """The nearest whole number of ticks."""
    return round(microseconds * tick_hz / 1e6)


def one_before(values: npt.NDArray[_Number], first: int) -> npt.NDArray[_Number]:
    """For each of the values (n,) the one before, `first` for the first of them."""
    before = np.empty_like(values)
    before[:1] = first
    before[1:] = values[:-1]
    return before


class RcInput:
    """A capacitor that the pin charges and discharges, before a comparator with hysteresis.

    Between edges v(t) = target + (v0 - target) exp(-t / RC), target 0 or 1 of the supply; the
    comparator turns over at the first tick at which v has passed its threshold.
    """

    def __init__(self, settings: RcSettings, tick_hz: int, level: int) -> None:
        ticks_per_us = tick_hz / 1e6
        self._constant = (
            settings.fall_time_constant_us * ticks_per_us,
            settings.rise_time_constant_us * ticks_per_us,
        )
        self._threshold = (
            settings.lower_threshold_percent / 100,
            settings.upper_threshold_percent / 100,
        )
        self._input = level
        self._output = level
        self._voltage = float(level)
        self._voltage_at = 0
        self._crossing = NEVER

    def push(self, ticks: Ticks, levels: Levels, now: int) -> Changes:
        """The comparator's transitions up to `now`."""
        crossings: list[int] = []
        first = 1 - self._output
        for tick, level in zip(ticks.tolist(), levels.tolist(), strict=True):
            if self._crossing <= tick:
                self._turn_over(crossings)
            self._charge_until(tick)
            self._input = level
            self._crossing = self._next_crossing()
        if self._crossing <= now:
            self._turn_over(crossings)
        turned = np.arange(first, first + len(crossings)) & 1
        return np.array(crossings, dtype=np.int64), turned.astype(np.uint8)

    def _turn_over(self, crossings: list[int]) -> None:
        crossings.append(self._crossing)
        self._output = 1 - self._output
        self._crossing = NEVER

    def _charge_until(self, tick: int) -> None:
        target, constant = self._input, self._constant[self._input]
        if constant:
            decay = math.exp((self._voltage_at - tick) / constant)
            self._voltage = target + (self._voltage - target) * decay
        else:
            self._voltage = float(target)
        self._voltage_at = tick

    def _next_crossing(self) -> int:
        target = self._input
        if target == self._output:
            return NEVER
        way = (target - self._voltage) / (target - self._threshold[target])
        return self._voltage_at + math.ceil(self._constant[target] * math.log(max(way, 1.0)))


class NoiseFilter:
    """Takes a level over once it has stood for `hold_ticks`; shorter pulses vanish."""

    def __init__(self, hold_ticks: int, level: int) -> None:
        self._hold = hold_ticks
        self._output = level
        self._open_ticks = np.empty(0, np.int64)
        self._open_levels = np.empty(0, np.uint8)

    def push(self, ticks: Ticks, levels: Levels, now: int) -> Changes:
        """The filtered transitions up to `now`."""
        ticks = np.concatenate((self._open_ticks, ticks))
        levels = np.concatenate((self._open_levels, levels))
        if not len(ticks):
            return ticks, levels
        after = np.empty_like(ticks)
        after[:-1], after[-1] = ticks[1:], now
        stands = after - ticks >= self._hold
        undecided = len(ticks) - (0 if stands[-1] else 1)
        self._open_ticks, self._open_levels = ticks[undecided:], levels[undecided:]
        ticks, levels = ticks[stands] + self._hold, levels[stands]
        changes = levels != one_before(levels, self._output)
        ticks, levels = ticks[changes], levels[changes]
        if len(levels):
            self._output = int(levels[-1])
        return ticks, levels


class EdgeGate:
    """Lets the chosen edges through, none while blanked by the one before.

    A standstill of `forget_ticks` is no tooth period, so it blanks nothing.
    """

    def __init__(
        self, edge: EdgeChoice, blanking_ticks: int, blanking_share: float, forget_ticks: int
    ) -> None:
        self._wanted = {"rising": 1, "falling": 0, "both": None}[edge]
        self._blanking = blanking_ticks
        self._share = blanking_share
        self._forget = forget_ticks
        self._last = -NEVER
        self._period = 0

    def push(self, ticks: Ticks, levels: Levels) -> Changes:
        """The edges let through."""
        if self._wanted is not None:
            chosen = levels == self._wanted
            ticks, levels = ticks[chosen], levels[chosen]
        if not len(ticks) or not (self._blanking or self._share):
            return ticks, levels
        periods = ticks - one_before(ticks, self._last)
        blanked = self._share * one_before(periods, self._period)
        if (periods >= np.maximum(self._blanking, blanked)).all():
            self._last, self._period = int(ticks[-1]), int(periods[-1])
            return ticks, levels
        kept = self._keep(ticks.tolist())
        return ticks[kept], levels[kept]

    def _keep(self, ticks: Sequence[int]) -> list[int]:
        kept = []
        last, period = self._last, self._period
        for index, tick in enumerate(ticks):
            blanked = self._share * period if period < self._forget else 0
            if tick - last >= max(self._blanking, blanked):
                kept.append(index)
                last, period = tick, tick - last
        self._last, self._period = last, period
        return kept


class LineInput:
    """All stages of one input, in the order of the signal.

    `push` gives the levels that a program would read at the port, and the edges that were let
    through.
    """

    def __init__(
        self, settings: InputSettings, tick_hz: int, level: int, forget_ticks: int
    ) -> None:
        self._inverted = np.uint8(settings.inverted)
        self._stages: list[Stage] = []
        if settings.rc:
            self._stages.append(RcInput(settings.rc, tick_hz, level))
        hold_ticks = to_ticks(settings.filter_us, tick_hz)
        if hold_ticks:
            self._stages.append(NoiseFilter(hold_ticks, level))
        self._gate = EdgeGate(
            settings.edge,
            to_ticks(settings.blanking_us, tick_hz),
            settings.blanking_percent / 100,
            forget_ticks,
        )

    def push(self, ticks: Ticks, levels: Levels, now: int) -> tuple[Changes, Changes]:
        """The level changes at the port and the edges let through, both up to `now`."""
        for stage in self._stages:
            ticks, levels = stage.push(ticks, levels, now)
        levels = levels ^ self._inverted
        return (ticks, levels), self._gate.push(ticks, levels)
