"""The processor as a queue: every edge costs time, and only so many can wait.

A single server, first come first served, with room for K edges, the one in service included: for
evenly spaced edges the queue called D/D/1/K. It overflows if and only if the spacing is less than
the cost, whatever K is; K says how long a burst it survives.
"""

from __future__ import annotations

from collections import deque

import numpy as np
import numpy.typing as npt

from edgewheel.controller.sim.inputs import Ticks

Lost = npt.NDArray[np.bool_]


class InterruptQueue:
    """Takes edges at the ticks of their capture; says when the work on each of them is done."""

    def __init__(self, waiting_edges: int) -> None:
        self._room = waiting_edges + 1
        self._departures: deque[int] = deque()
        self._busy_until = 0

    def serve(self, ticks: Ticks, costs: Ticks) -> tuple[Ticks, Lost]:
        """When each edge is dealt with, and which ones found no room.

        `ticks` (n,) ascending, `costs` (n,) in ticks. A lost edge is given the tick at which the
        work queued before it is done: that is where an overrun flag would be seen.
        """
        if not len(ticks):
            return ticks, np.zeros(0, np.bool_)
        done = ticks + costs
        if ticks[0] < self._busy_until or (ticks[1:] < done[:-1]).any():
            return self._serve_one_by_one(ticks, costs)
        self._busy_until = int(done[-1])
        self._departures.clear()
        self._departures.append(self._busy_until)
        return done, np.zeros(len(ticks), np.bool_)

    def _serve_one_by_one(self, ticks: Ticks, costs: Ticks) -> tuple[Ticks, Lost]:
        done: list[int] = []
        lost: list[bool] = []
        departures = self._departures
        for tick, cost in zip(ticks.tolist(), costs.tolist(), strict=True):
            while departures and departures[0] <= tick:
                departures.popleft()
            full = len(departures) >= self._room
            if not full:
                self._busy_until = max(self._busy_until, tick) + cost
                departures.append(self._busy_until)
            done.append(self._busy_until)
            lost.append(full)
        return np.array(done, dtype=np.int64), np.array(lost, dtype=np.bool_)
