"""The simulated controller on a supply that is switched: without it, it knows and does nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from edgewheel.controller.reader import Piece
from edgewheel.controller.sim.controller import Output, SimController
from edgewheel.controller.sim.inputs import to_ticks
from edgewheel.controller.sim.scheduler import Pulse
from edgewheel.controller.sim.settings import ControllerSettings

NOTHING = Output((), ())


class SwitchedController:
    """A simulated controller whose supply is one of its `lines`, on while that is high.

    When the supply goes, its outputs rest at once and what it was saying is cut off. When it comes,
    the controller boots for `power.boot_ms`, then begins with nothing known, whatever turns. A
    supply that is on from the start has been on for long.
    """

    def __init__(
        self,
        settings: ControllerSettings,
        tick_hz: int,
        lines: tuple[str, ...],
        initial_mask: int,
        supply: str,
    ) -> None:
        self._settings = settings
        self._tick_hz = tick_hz
        self._lines = lines
        self._bit = lines.index(supply)
        self._boot_ticks = max(to_ticks(settings.power.boot_ms * 1000, tick_hz), 1)
        self._mask = initial_mask
        first = SimController(settings, tick_hz, lines, initial_mask)
        self.outputs = first.outputs
        self.output_levels = first.output_levels
        self._levels = list(first.output_levels)
        self._running = first if initial_mask >> self._bit & 1 else None
        self._boots_at: int | None = None

    def feed(
        self,
        ticks: Sequence[int] | npt.NDArray[np.int64],
        masks: Sequence[int] | npt.NDArray[np.uint8],
        now: int,
    ) -> Output:
        """As the controller's own: all transitions up to `now`, then time until then."""
        at = np.asarray(ticks, dtype=np.int64)
        levels = np.asarray(masks, dtype=np.uint8)
        pulses: list[Pulse] = []
        serial: list[tuple[int, Piece]] = []
        for begin, end, until in self._stretches(at, levels, now):
            output = self._pass(at[begin:end], levels[begin:end], until)
            pulses += output.pulses
            serial += output.serial
            if end < len(at):
                self._mask = int(levels[end])
                pulses += self._switch(int(at[end]), bool(levels[end] >> self._bit & 1))
        return Output(tuple(pulses), tuple(serial))

    def ask(self, piece: Piece, tick: int) -> None:
        """A request; without a supply nobody hears it."""
        if self._running is not None:
            self._running.ask(piece, tick)

    def _stretches(
        self, ticks: npt.NDArray[np.int64], masks: npt.NDArray[np.uint8], now: int
    ) -> Iterator[tuple[int, int, int]]:
        """(first row, row behind the last, last tick) of each stretch without a switch."""
        supply = masks >> np.uint8(self._bit) & np.uint8(1)
        before = np.uint8(self._mask >> self._bit & 1)
        begin = 0
        for row in np.flatnonzero(np.diff(supply, prepend=before) != 0).tolist():
            yield begin, row, int(ticks[row]) - 1
            begin = row
        yield begin, len(ticks), now

    def _pass(
        self, ticks: npt.NDArray[np.int64], masks: npt.NDArray[np.uint8], until: int
    ) -> Output:
        """A stretch with the supply as it is."""
        begin = 0
        if self._boots_at is not None and self._boots_at <= until:
            begin = int(np.searchsorted(ticks, self._boots_at))
            mask = int(masks[begin - 1]) if begin else self._mask
            settings, boots_at = self._settings, self._boots_at
            self._running = SimController(settings, self._tick_hz, self._lines, mask, boots_at)
            self._boots_at = None
        if len(masks):
            self._mask = int(masks[-1])
        if self._running is None:
            return NOTHING
        output = self._running.feed(ticks[begin:], masks[begin:], until)
        for pulse in output.pulses:
            self._levels[pulse.line] = pulse.level
        return output

    def _switch(self, tick: int, on: bool) -> list[Pulse]:
        """The supply comes or goes; the outputs that fall back to rest."""
        self._running = None
        self._boots_at = tick + self._boot_ticks if on else None
        rest = self.output_levels
        pulses = [
            Pulse(tick, line, level)
            for line, level in enumerate(rest)
            if self._levels[line] != level
        ]
        self._levels = list(rest)
        return pulses
