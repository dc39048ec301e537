"""Direction sensors: every tooth starts a pulse whose width tells which way the wheel turns."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from edgewheel.edges.levels import LevelTable, PulseTrack
from edgewheel.edges.reorder import Reorder
from edgewheel.edges.table import EdgeChunk, Ticks
from edgewheel.errors import UsageError


class PulseEnds:
    """Adds the ends of pulses to chunks that hold only their starts."""

    def __init__(self, levels: LevelTable, tick_hz: int) -> None:
        self._tracks = levels.tracks
        self._pulses = levels.pulses
        self._tick_hz = tick_hz
        self._order = Reorder()
        self._last_end = dict.fromkeys((pulse.track for pulse in levels.pulses), -1)

    def add(self, chunk: EdgeChunk, direction: int) -> EdgeChunk:
        """The edges that are certain once this chunk, turned in one direction, is known."""
        ends = [self._ends(chunk, pulse, direction) for pulse in self._pulses]
        self._order.push(chunk, *ends)
        return self._order.release(int(chunk.ticks[-1]))

    def rest(self) -> EdgeChunk:
        """What is left when no chunk follows."""
        return self._order.release()

    def _ends(self, chunk: EdgeChunk, pulse: PulseTrack, direction: int) -> EdgeChunk:
        starts = chunk[chunk.track == pulse.track]
        seconds = pulse.forward_s if direction > 0 else pulse.reverse_s
        ticks = starts.ticks + round(seconds * self._tick_hz)
        self._check(pulse, starts.ticks, ticks, seconds)
        return EdgeChunk(ticks, starts.track, 1 - starts.level, starts.passage)

    def _check(self, pulse: PulseTrack, starts: Ticks, ends: Ticks, seconds: Fraction) -> None:
        if not len(starts):
            return
        before = np.concatenate([[self._last_end[pulse.track]], ends[:-1]])
        if bool(np.any(starts <= before)):
            tick = int(starts[np.argmax(starts <= before)])
            raise UsageError(
                f"Track '{self._tracks[pulse.track]}' starts a pulse at tick {tick} before its "
                f"last one of {float(seconds) * 1e6:g} microseconds has ended. Lower the speed, or "
                "shorten the pulse in the wheel file."
            )
        self._last_end[pulse.track] = int(ends[-1])
