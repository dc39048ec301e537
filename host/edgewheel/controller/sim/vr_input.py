"""A controller's VR inputs: from a voltage to a level that turns over at the tooth's centre.

A half-wave that is high enough arms the input; at the zero crossing behind it the output rises. It
falls at the next crossing the other way. One that is too low leaves everything as it is, so that
tooth is missed. How high is enough depends on the speed that the last two teeth told.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from edgewheel.controller.sim.settings import ControllerSettings, VrSettings
from edgewheel.link.pinbus import Peaks, Transitions

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

    def pass_on(self, transitions: Transitions) -> Transitions:
        """The levels behind the inputs, at the ticks of the voltages' transitions."""
        if not self._inputs or not len(transitions):
            return transitions
        masks = transitions.masks.copy()
        for line, one in self._inputs.items():
            levels = masks >> np.uint8(line) & np.uint8(1)
            behind = one.pass_on(transitions.ticks.tolist(), levels.tolist())
            masks &= np.uint8(0xFF ^ 1 << line)
            masks |= np.array(behind, np.uint8) << np.uint8(line)
        return Transitions(transitions.ticks, masks)


class _VrInput:
    """One input; `level` is the sign of its voltage so far."""

    def __init__(self, settings: VrSettings, tick_hz: int, level: int) -> None:
        self._rpm = [rpm for rpm, _ in settings.arming_mv]
        self._mv = [mv for _, mv in settings.arming_mv]
        self._rpm_ticks = SECONDS_A_MINUTE * tick_hz / settings.teeth_a_turn
        self._level = level
        self._output = 0
        self._known: dict[int, float] | None = None
        self._last: int | None = None
        self._arming_mv = self._mv[0]

    def know(self, heights_mv: Mapping[int, float]) -> None:
        self._known = {**(self._known or {}), **heights_mv}

    def pass_on(self, ticks: list[int], levels: list[int]) -> list[int]:
        out = []
        for tick, level in zip(ticks, levels, strict=True):
            if level != self._level:
                self._cross(tick, level)
                self._level = level
            out.append(self._output)
        return out

    def _cross(self, tick: int, level: int) -> None:
        height_mv = float("inf") if self._known is None else self._known.pop(tick, 0.0)
        if level:
            self._output = 0
        elif height_mv >= self._arming_mv:
            self._output = 1
            if self._last is not None:
                rpm = self._rpm_ticks / (tick - self._last)
                self._arming_mv = float(np.interp(rpm, self._rpm, self._mv))
            self._last = tick
