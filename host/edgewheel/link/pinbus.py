"""What joins pins and controller, whatever the board: transitions one way, pulses the other, both
in board ticks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Transitions:
    """n changes of the outputs: `ticks` (n,) of the board's clock, ascending, and `masks` (n,), the
    levels from then on.
    """

    ticks: Ints
    masks: Bytes

    def __len__(self) -> int:
        return len(self.ticks)


class Pulse(NamedTuple):
    """One change of one input line: the board's tick, the line's number, and its level from then
    on.
    """

    tick: int
    input: int
    level: int


NO_TRANSITIONS = Transitions(np.zeros(0, np.int64), np.zeros(0, np.uint8))


class PinListener(Protocol):
    """Whatever is wired to the board's pins."""

    def exchange(self, transitions: Transitions, until_tick: int) -> list[Pulse]:
        """Take what the outputs did up to board tick `until_tick`, give what the inputs got up to
        then, in order.

        `transitions` continue those of the last call; nothing else happened on the outputs.
        """


@dataclass(frozen=True)
class LineWiring:
    """What the output stage does to one line: the level turned over, and a delay in ticks for each
    edge at the far end.
    """

    inverted: bool = False
    rise_ticks: int = 0
    fall_ticks: int = 0


class Wiring:
    """The output stage between the board's pins and the controller's, in simulation.

    A pulse shorter than the difference of the two delays vanishes in the stage, as in a real one.
    """

    def __init__(self, lines: tuple[LineWiring, ...], pins: int = 0) -> None:
        self._lines = lines
        self._invert = np.uint8(sum(line.inverted << k for k, line in enumerate(lines)))
        self._delayed = any(line.rise_ticks or line.fall_ticks for line in lines)
        self._identity = not self._invert and not self._delayed
        self._level = pins ^ int(self._invert)
        self._far_level = self._level
        self._under_way: list[tuple[int, int, int]] = []  # tick, line, level

    def pass_on(self, transitions: Transitions, until_tick: int) -> Transitions:
        """What the controller's pins see up to board tick `until_tick` of what the board's pins do
        up to then.
        """
        if self._identity:
            return transitions
        turned = Transitions(transitions.ticks, transitions.masks ^ self._invert)
        return self._delay(turned, until_tick) if self._delayed else turned

    def _delay(self, transitions: Transitions, until_tick: int) -> Transitions:
        for tick, mask in zip(transitions.ticks.tolist(), transitions.masks.tolist(), strict=True):
            changed = mask ^ self._level
            self._level = mask
            for k, line in enumerate(self._lines):
                if changed >> k & 1:
                    self._send(tick, k, mask >> k & 1, line)
        return self._arrived(until_tick)

    def _send(self, tick: int, k: int, level: int, line: LineWiring) -> None:
        at = tick + (line.rise_ticks if level else line.fall_ticks)
        overtaken = [edge for edge in self._under_way if edge[1] == k and edge[0] >= at]
        if overtaken:
            for edge in overtaken:
                self._under_way.remove(edge)
        self._under_way.append((at, k, level))

    def _arrived(self, until_tick: int) -> Transitions:
        ready = sorted(edge for edge in self._under_way if edge[0] <= until_tick)
        self._under_way = [edge for edge in self._under_way if edge[0] > until_tick]
        seen: dict[int, int] = {}
        for tick, k, level in ready:
            after = self._far_level & ~(1 << k) | level << k
            if after != self._far_level:
                seen[tick] = self._far_level = after
        return Transitions(np.array(list(seen), np.int64), np.array(list(seen.values()), np.uint8))
