"""Output edges that are to come, in the order of their ticks."""

from __future__ import annotations

from dataclasses import dataclass
from heapq import heapify, heappop, heappush


@dataclass(frozen=True, slots=True)
class Pulse:
    """One edge of an output line, an index of `SimController.outputs`."""

    tick: int
    line: int
    level: int


class Scheduler:
    """Output-compare registers without end: what is set is emitted unless dropped."""

    def __init__(self) -> None:
        self._edges: list[tuple[int, int, int, int]] = []
        self._set = 0

    def set(self, tick: int, line: int, level: int) -> None:
        """Emit this edge at this tick."""
        self._set += 1
        heappush(self._edges, (tick, self._set, line, level))

    def drop(self, line: int, from_tick: int) -> None:
        """Forget this line's edges at this tick and later."""
        self._edges = [e for e in self._edges if e[2] != line or e[0] < from_tick]
        heapify(self._edges)

    def due(self, now: int) -> tuple[Pulse, ...]:
        """The edges up to `now`, which are emitted with this."""
        edges = self._edges
        pulses = []
        while edges and edges[0][0] <= now:
            tick, _, line, level = heappop(edges)
            pulses.append(Pulse(tick, line, level))
        return tuple(pulses)
