"""Captured changes of the simulated board's inputs, waiting to be sent (PROTOCOL.md section 6)."""

from __future__ import annotations

from collections import deque

from edgewheel.link.messages import Pulses
from edgewheel.link.pinbus import Pulse

_HEAD = Pulses.LAYOUT.size
_ENTRY = 11  # at most: a delta of ten groups of 7 bits, and the levels


class Capture:
    """Numbers the changes of the captured inputs; what finds no room is lost and counted."""

    def __init__(self, room: int) -> None:
        self.lost = 0
        self.armed_levels = 0
        self._room = room
        self._inputs = 0
        self._pins = 0
        self._first = 0
        self._changes: deque[tuple[int, int]] = deque()

    def __len__(self) -> int:
        return len(self._changes)

    def open(self, inputs: int) -> None:
        """Begin anew for a run, with these inputs."""
        self.lost = self._first = 0
        self._inputs = inputs
        self.armed_levels = self._pins & inputs
        self._changes.clear()

    def take(self, pulses: list[Pulse]) -> None:
        """Changes of the input lines, in order."""
        for tick, line, level in pulses:
            before = self._pins & self._inputs
            self._pins = self._pins & ~(1 << line) | level << line
            after = self._pins & self._inputs
            if after == before:
                continue
            if len(self._changes) == self._room:
                self.lost += 1
            else:
                self._changes.append((tick, after))

    def payloads(self, largest: int) -> list[bytes]:
        """The payloads of PULSES, each at most `largest` bytes, that carry all that waits."""
        out = []
        most = min(255, (largest - _HEAD) // _ENTRY)
        while self._changes:
            count = min(most, len(self._changes))
            taken = [self._changes.popleft() for _ in range(count)]
            ticks, levels = zip(*taken, strict=True)
            out.append(Pulses(self._first & 0xFFFF_FFFF, ticks, levels).pack())
            self._first += count
        return out
