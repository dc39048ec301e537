"""What joins pins and controller, whatever the board.

Transitions go one way, pulses the other, both in board ticks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
import numpy.typing as npt

from edgewheel.edges.stage import OutputStage

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Peaks:
    """How high the voltage of a VR output got, for each of the m changes of its line.

    `heights` (m,) are of the half-waves that end at board `ticks` (m,), ascending; the board gives
    them in codes, the output stage in millivolts.
    """

    line: int
    ticks: Ints
    heights: npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Transitions:
    """n changes of the outputs: board `ticks` (n,), ascending, and `masks` (n,) from then on.

    `peaks` tells of the outputs that are VR sensors' signals.
    """

    ticks: Ints
    masks: Bytes
    peaks: tuple[Peaks, ...] = ()

    def __len__(self) -> int:
        return len(self.ticks)


class Pulse(NamedTuple):
    """One change of one input line: board tick, number of the line, its level from then on."""

    tick: int
    input: int
    level: int


NO_TRANSITIONS = Transitions(np.zeros(0, np.int64), np.zeros(0, np.uint8))


class PinListener(Protocol):
    """Whatever is wired to the board's pins."""

    def exchange(self, transitions: Transitions, until_tick: int) -> list[Pulse]:
        """Take what the outputs did up to board tick `until_tick`, give what the inputs got.

        `transitions` continue those of the last call; nothing else happened on the outputs.
        """


class Wiring:
    """The output stage between the board's pins and the controller's, in simulation.

    A pulse shorter than the difference of the two delays vanishes in the stage, as in a real one.
    `pins` are the board's levels before the first transition.
    """

    def __init__(self, stage: OutputStage, pins: int = 0) -> None:
        self._invert = np.uint8(stage.pin_mask((0,) * len(stage.inverts)))
        self._delayed = stage.longest_ticks > 0
        self._level = pins ^ int(self._invert)
        self._far_level = np.uint8(self._level)
        times = zip(stage.fall_ticks, stage.rise_ticks, strict=True)
        self._lines = [_DelayLine(fall, rise) for fall, rise in times]

    def pass_on(self, transitions: Transitions, until_tick: int) -> Transitions:
        """What the controller's pins see up to board tick `until_tick`.

        `transitions` are all that the board's pins did since the last call, up to then.
        """
        if not self._invert and not self._delayed:
            return transitions
        turned = Transitions(transitions.ticks, transitions.masks ^ self._invert)
        return self._delay(turned, until_tick) if self._delayed else turned

    def _delay(self, transitions: Transitions, until_tick: int) -> Transitions:
        masks = transitions.masks
        changed = masks ^ np.concatenate((np.array([self._level], np.uint8), masks[:-1]))
        if len(masks):
            self._level = int(masks[-1])
        arrived = []
        for k, line in enumerate(self._lines):
            mine = np.flatnonzero(changed >> k & 1)
            line.send(transitions.ticks[mine], masks[mine] >> np.uint8(k) & np.uint8(1))
            ticks = line.receive(until_tick)
            arrived.append((ticks, np.full(len(ticks), 1 << k, np.uint8)))
        return self._merge(
            np.concatenate([ticks for ticks, _ in arrived]),
            np.concatenate([bits for _, bits in arrived]),
        )

    def _merge(self, ticks: Ints, bits: Bytes) -> Transitions:
        """Changes of single lines as changes of the mask."""
        if not len(ticks):
            return NO_TRANSITIONS
        order = np.argsort(ticks, kind="stable")
        ticks = ticks[order]
        masks = np.bitwise_xor.accumulate(bits[order]) ^ self._far_level
        self._far_level = masks[-1]
        last = np.append(np.flatnonzero(np.diff(ticks)), len(ticks) - 1)
        return Transitions(ticks[last], masks[last])


class _DelayLine:
    """One line of the stage: edges under way, which alternate in level."""

    def __init__(self, fall_ticks: int, rise_ticks: int) -> None:
        self._delays = np.array([fall_ticks, rise_ticks])
        self._ticks = NO_TRANSITIONS.ticks

    def send(self, ticks: Ints, levels: Bytes) -> None:
        """Edges enter at these ticks."""
        at = np.concatenate((self._ticks, ticks + self._delays[levels]))
        if (np.diff(at) <= 0).any():
            at = self._without_overtaken(at)
        self._ticks = at

    def _without_overtaken(self, at: Ints) -> Ints:
        """An edge that catches up with the one before ends a pulse that never gets through."""
        kept: list[int] = []
        for tick in at.tolist():
            if kept and kept[-1] >= tick:
                kept.pop()
            else:
                kept.append(tick)
        return np.array(kept, np.int64)

    def receive(self, until_tick: int) -> Ints:
        """The ticks of the edges that have come out by then; each turns the level over."""
        cut = int(self._ticks.searchsorted(until_tick, side="right"))
        out, self._ticks = self._ticks[:cut], self._ticks[cut:]
        return out
