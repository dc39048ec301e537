"""Captured pulses are numbered: what came twice is left out, what never came is said."""

from __future__ import annotations

from edgewheel.link.events import Event, PulsesCaptured, PulsesMissing
from edgewheel.link.messages import Pulses

NUMBERS = 1 << 32
"""The wire has the low 32 bits of a pulse's number."""


class PulseCount:
    """The numbering of one run's captured pulses."""

    def __init__(self) -> None:
        self._next = 0
        self._lost_on_board = 0

    def take(self, pulses: Pulses, armed: bool) -> list[Event]:
        """What a PULSES frame tells; before the run is armed only its beginning can be its own."""
        missed = (pulses.first - self._next) % NUMBERS
        if missed >= NUMBERS // 2 or (missed and not armed):
            return []  # what came twice, or is of the run before
        first = self._next + missed
        self._next = first + len(pulses.ticks)
        missing: list[Event] = [PulsesMissing(missed)] if missed else []
        return [*missing, PulsesCaptured(first, pulses.ticks, pulses.levels)]

    def lost_on_board(self, total: int) -> list[Event]:
        """The board found no room for so many pulses of the run so far."""
        more = total - self._lost_on_board
        if more <= 0:
            return []
        self._lost_on_board = total
        return [PulsesMissing(more)]
