"""Moments at random in time: one in every slot of equal length, drawn by its number."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from edgewheel.edges.table import Ticks
from edgewheel.fault.draw import uniform


class Slots:
    """One moment in every 1 / `per_s` seconds, at least `length_ticks` before the slot's end.

    Slots that have ended before `begin_tick` are left out, unless their moment lasts until then.
    """

    def __init__(
        self, key: int, per_s: Fraction, tick_hz: int, length_ticks: int, begin_tick: int = 0
    ) -> None:
        self._key = key
        self._slot_ticks = tick_hz / per_s
        self._room = max(float(self._slot_ticks) - length_ticks, 0.0)
        self._next = max(int((begin_tick - length_ticks) // self._slot_ticks), 0)

    def before(self, tick: int) -> tuple[Ticks, Ticks]:
        """Numbers and ticks (n,) of all moments in the slots that begin before a tick, once each.

        The last of them may lie after it.
        """
        end = max(int(-(-tick // self._slot_ticks)), self._next)
        numbers = np.arange(self._next, end, dtype=np.int64)
        begins = [int(number * self._slot_ticks) for number in range(self._next, end)]
        self._next = end
        offsets = np.floor(uniform(self._key, numbers) * self._room).astype(np.int64)
        return numbers, np.array(begins, np.int64) + offsets
