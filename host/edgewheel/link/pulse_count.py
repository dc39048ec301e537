"""Captured pulses are numbered: what came twice is left out, what never came is said."""

from __future__ import annotations

from edgewheel.link.events import Event, PulsesCaptured, PulsesMissing
from edgewheel.link.messages import Pulses


class PulseCount:
    """The numbering of one run's captured pulses."""

    def __init__(self) -> None:
        self._next = 0
        self._lost_on_board = 0

    def take(self, pulses: Pulses, armed: bool) -> list[Event]:
        """What a PULSES frame tells; before the run is armed only its beginning can be its own."""
        missed = pulses.first - self._next
        if missed < 0 or (missed and not armed):
            return []  # what came twice, or is of the run before
        self._next = pulses.first + len(pulses.ticks)
        missing: list[Event] = [PulsesMissing(missed)] if missed else []
        return [*missing, PulsesCaptured(pulses.first, pulses.ticks, pulses.levels)]

    def lost_on_board(self, total: int) -> list[Event]:
        """The board found no room for so many pulses of the run so far."""
        more = total - self._lost_on_board
        if more <= 0:
            return []
        self._lost_on_board = total
        return [PulsesMissing(more)]
