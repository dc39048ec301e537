"""A controller's VR inputs: from a voltage to a level that turns over at the tooth's centre.

A low-pass makes half-waves lower and their crossings late. One that is then high enough arms the
input; at the zero crossing behind it the output rises. It falls at the next crossing the other way.
One that is too low leaves everything as it is, so that tooth is missed. How high is enough depends
on the speed that the last two teeth told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from edgewheel.controller.sim.low_pass import Crossing, LowPass
from edgewheel.controller.sim.settings import ControllerSettings, VrSettings
from edgewheel.link.pinbus import Bytes, Ints, Peaks, Transitions

SECONDS_A_MINUTE = 60


class VrInputs:
    """All VR inputs of a controller; other lines pass.

    `mv_a_height` tells, by line, what the output stage makes of the board's heights, and
    `delay_ticks` how late. A line without a voltage, a square wave, is as high as can be.
    """

    def __init__(
        self,
        settings: ControllerSettings,
        tick_hz: int,
        lines: tuple[str, ...],
        mask: int,
        mv_a_height: Mapping[int, float],
        delay_ticks: Mapping[int, int],
    ) -> None:
        self._mv_a_height = mv_a_height
        self._delay_ticks = delay_ticks
        self._mask = mask
        self._inputs: dict[int, _VrInput] = {}
        for one in (settings.crank, settings.cam):
            if one is not None and one.vr is not None and one.line in lines:
                line = lines.index(one.line)
                self._inputs[line] = _VrInput(one.vr, tick_hz, mask >> line & 1)

    def rest_mask(self, mask: int) -> int:
        """The levels behind the inputs before the first tooth."""
        for line in self._inputs:
            mask &= ~(1 << line)
        return mask

    def know(self, peaks: Iterable[Peaks]) -> None:
        """How high half-waves are whose ends come later."""
        for one in peaks:
            if one.line in self._inputs and one.line in self._mv_a_height:
                ticks = one.ticks + self._delay_ticks.get(one.line, 0)
                heights = one.heights * self._mv_a_height[one.line]
                self._inputs[one.line].know(
                    dict(zip(ticks.tolist(), heights.tolist(), strict=True))
                )

    def pass_on(self, transitions: Transitions, until_tick: int) -> Transitions:
        """The levels behind the inputs up to a tick, from all that the lines did up to then."""
        if not self._inputs:
            return transitions
        masks = np.concatenate(([self._mask], transitions.masks)).astype(np.uint8)
        self._mask = int(masks[-1])
        turned = {
            line: one.pass_on(
                transitions.ticks, masks[1:] >> np.uint8(line) & np.uint8(1), until_tick
            )
            for line, one in self._inputs.items()
        }
        ticks = np.unique(np.concatenate([transitions.ticks, *(at for at, _ in turned.values())]))
        seen = masks[np.searchsorted(transitions.ticks, ticks, side="right")]
        for line, (at, levels) in turned.items():
            seen &= np.uint8(0xFF ^ 1 << line)
            seen |= levels[np.searchsorted(at, ticks, side="right")] << np.uint8(line)
        return Transitions(ticks, seen)


class _VrInput:
    """One input; `level` is the sign of its voltage so far."""

    def __init__(self, settings: VrSettings, tick_hz: int, level: int) -> None:
        self._rpm = [rpm for rpm, _ in settings.arming_mv]
        self._mv = [mv for _, mv in settings.arming_mv]
        self._rpm_ticks = SECONDS_A_MINUTE * tick_hz / settings.teeth_a_turn
        self._low_pass = LowPass(settings.time_constant_us * tick_hz / 1e6)
        self._level = np.uint8(level)
        self._output = 0
        self._known: dict[int, float] | None = None
        self._last: int | None = None
        self._arming_mv = self._mv[0]

    def know(self, heights_mv: Mapping[int, float]) -> None:
        self._known = {**(self._known or {}), **heights_mv}

    def pass_on(self, ticks: Ints, levels: Bytes, until_tick: int) -> tuple[Ints, Bytes]:
        """n ticks at which its output may change, and the n + 1 levels before and from each on."""
        changed = np.flatnonzero(np.diff(levels, prepend=self._level))
        for tick, level in zip(ticks[changed].tolist(), levels[changed].tolist(), strict=True):
            self._low_pass.send(Crossing(tick, level, self._height_mv(tick)))
            self._level = np.uint8(level)
        crossings = self._low_pass.receive(until_tick)
        outputs = [self._output, *map(self._cross, crossings)]
        return np.array([one.tick for one in crossings], np.int64), np.array(outputs, np.uint8)

    def _height_mv(self, tick: int) -> float:
        """Of the half-wave that ends there; a square wave is as high as can be."""
        return float("inf") if self._known is None else self._known.pop(tick, 0.0)

    def _cross(self, crossing: Crossing) -> int:
        """The output from a crossing of the filtered voltage on."""
        tick, level, height_mv = crossing
        if level:
            self._output = 0
        elif height_mv >= self._arming_mv:
            self._output = 1
            if self._last is not None:
                rpm = self._rpm_ticks / (tick - self._last)
                self._arming_mv = float(np.interp(rpm, self._rpm, self._mv))
            self._last = tick
        return self._output
