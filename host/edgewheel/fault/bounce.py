"""Bounce: a worn wheel or a loose sensor answers an edge with further pulses."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
import numpy.typing as npt

from edgewheel.edges.reorder import Reorder
from edgewheel.edges.table import Bytes, EdgeChunk, EdgeHeader, Ticks, join
from edgewheel.fault.model import Changes

US_PER_S = 1_000_000
FOREVER = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Bounce:
    """After an edge of `track`, the level goes back for `width_us`, `count` times over.

    Pulse i of 1 to count begins i delays after the edge, a delay being `delay_us`, or
    `delay_percent` of the time since the track's last edge of the same kind. `after` says which
    edges bounce, by their level at the pin. A pulse that would not end before the track's next
    edge is left out.
    """

    track: str
    width_us: Fraction
    delay_us: Fraction = Fraction(0)
    delay_percent: Fraction = Fraction(0)
    count: int = 1
    after: Literal["rise", "fall", "both"] = "both"

    def apply(
        self, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Iterator[EdgeChunk]:
        """The table with the pulses added; raises ValueError if the track is not in it."""
        work = _Work(self, header, changes)
        for chunk in chunks:
            if len(chunk):
                yield work.take(chunk)
        yield work.rest()


class _Work:
    """The fault at work on one table: it looks one edge of its track ahead and two back."""

    def __init__(self, fault: Bounce, header: EdgeHeader, changes: Changes) -> None:
        self._fault = fault
        self._changes = changes
        self._track = header.tracks.index(fault.track)
        self._width = max(round(fault.width_us * header.tick_hz / US_PER_S), 1)
        self._delay = round(fault.delay_us * header.tick_hz / US_PER_S)
        self._order = Reorder()
        self._own = EdgeChunk.empty()
        self._done = 0

    def take(self, chunk: EdgeChunk) -> EdgeChunk:
        """Add a chunk; returns the edges that nothing can come before any more."""
        mine = chunk.track == self._track
        self._own = join(
            self._own, EdgeChunk(chunk.ticks[mine], chunk.track[mine], chunk.level[mine])
        )
        self._order.push(chunk)
        settled = max(len(self._own) - 1, 0)
        self._bounce(settled)
        self._own, self._done = self._own[-3:], min(settled, 2)
        waiting = self._own.ticks[-1:].tolist()
        return self._order.release(min([int(chunk.ticks[-1]), *waiting]))

    def rest(self) -> EdgeChunk:
        """What is left, now that no edge follows the last."""
        self._bounce(len(self._own))
        return self._order.release()

    def _bounce(self, settled: int) -> None:
        """Add the pulses of the track's edges that are not done yet, up to the settled ones."""
        ticks = self._own.ticks
        next_ticks = np.append(ticks[1:], FOREVER)[self._done : settled]
        delays = self._delays()[self._done : settled]
        edges = self._own[self._done : settled]
        bouncing = (delays > 0) & self._chosen(edges.level)
        for number in range(1, self._fault.count + 1):
            starts = edges.ticks + number * delays
            ends = starts + self._width
            fits = bouncing & (ends < next_ticks)
            track, level = edges.track[fits], edges.level[fits]
            self._order.push(EdgeChunk(starts[fits], track, 1 - level))
            self._order.push(EdgeChunk(ends[fits], track, level))
            self._note(starts[fits])

    def _delays(self) -> Ticks:
        """Ticks from each of the track's edges to its first pulse, 0 where that is not known."""
        if not self._fault.delay_percent:
            return np.full(len(self._own), self._delay)
        delays = np.zeros(len(self._own), np.int64)
        periods = self._own.ticks[2:] - self._own.ticks[:-2]
        delays[2:] = np.rint(periods * float(self._fault.delay_percent / 100))
        return delays

    def _chosen(self, level: Bytes) -> npt.NDArray[np.bool_]:
        if self._fault.after == "both":
            return np.ones(len(level), np.bool_)
        chosen: npt.NDArray[np.bool_] = level == (self._fault.after == "rise")
        return chosen

    def _note(self, starts: Ticks) -> None:
        self._changes.add_many(starts, self._fault.track, f"pulse of {self._width} ticks added")
