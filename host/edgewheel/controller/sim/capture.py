"""From the masks on the wire to the edges that the program deals with, in the order it does."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from edgewheel.controller.sim.inputs import Changes, Levels, LineInput, Ticks, one_before, to_ticks
from edgewheel.controller.sim.interrupts import InterruptQueue
from edgewheel.controller.sim.settings import ControllerSettings, InputSettings

CRANK, MARK, PORT, LOST = range(4)
"""A tooth; an edge of the cam input; a new level of the cam input; an edge lost in the queue."""

Captured = Iterator[tuple[int, int, int, int]]
"""(tick of the capture, tick at which the work on it is done, kind, level)."""

PULLED_UP = 1


class Pin:
    """One input and the mask bit it is wired to; an unwired one is pulled up."""

    def __init__(
        self,
        settings: InputSettings,
        tick_hz: int,
        lines: tuple[str, ...],
        initial_mask: int,
        forget_ticks: int,
    ) -> None:
        self._bit = lines.index(settings.line) if settings.line in lines else None
        level = PULLED_UP if self._bit is None else initial_mask >> self._bit & 1
        self._level = level
        self.port_level = level ^ settings.inverted
        self._input = LineInput(settings, tick_hz, level, forget_ticks)

    def push(self, ticks: Ticks, masks: Levels, now: int) -> tuple[Changes, Changes]:
        """The changes at the port and the edges let through, up to `now`."""
        if self._bit is None:
            return self._input.push(ticks[:0], masks[:0], now)
        levels = masks >> np.uint8(self._bit) & np.uint8(1)
        changes = levels != one_before(levels, self._level)
        if len(levels):
            self._level = int(levels[-1])
        return self._input.push(ticks[changes], levels[changes], now)


class InputCapture:
    """All inputs and the interrupt queue they share. Edges at one tick: the cam's come first."""

    def __init__(
        self, settings: ControllerSettings, tick_hz: int, lines: tuple[str, ...], initial_mask: int
    ) -> None:
        forget_ticks = to_ticks(settings.sync.stall_ms * 1000, tick_hz)
        self._crank = Pin(settings.crank, tick_hz, lines, initial_mask, forget_ticks)
        self._cam = None
        if settings.cam:
            self._cam = Pin(settings.cam, tick_hz, lines, initial_mask, forget_ticks)
        self.cam_level = self._cam.port_level if self._cam else PULLED_UP
        interrupts = settings.interrupts
        self._queue = InterruptQueue(interrupts.waiting_edges)
        costs = (interrupts.crank_cost_us, interrupts.cam_cost_us)
        self._costs = np.array([to_ticks(cost, tick_hz) for cost in costs], dtype=np.int64)
        self._in_work = np.empty((4, 0), np.int64)

    def push(self, ticks: Ticks, masks: Levels, now: int) -> Captured:
        """What the program deals with up to `now`, in order, from all transitions up to `now`."""
        _, (edge_ticks, levels) = self._crank.push(ticks, masks, now)
        kinds = np.zeros(len(edge_ticks), np.int64)
        port: Changes | None = None
        if self._cam:
            port, (mark_ticks, mark_levels) = self._cam.push(ticks, masks, now)
            if len(mark_ticks):
                edge_ticks = np.concatenate((mark_ticks, edge_ticks))
                order = np.argsort(edge_ticks, kind="stable")
                edge_ticks = edge_ticks[order]
                levels = np.concatenate((mark_levels, levels))[order]
                kinds = (order < len(mark_ticks)).astype(np.int64)
        done, lost = self._queue.serve(edge_ticks, self._costs[kinds])
        kinds[lost] = LOST
        return self._in_order(np.stack((edge_ticks, done, kinds, levels)), port, now)

    def _in_order(self, served: Ticks, port: Changes | None, now: int) -> Captured:
        """Hold back what is done later than `now`; merge in the levels of the port."""
        if self._in_work.shape[1]:
            served = np.concatenate((self._in_work, served), axis=1)
        ready = int(np.searchsorted(served[1], now, side="right"))
        self._in_work, served = served[:, ready:], served[:, :ready]
        if port and len(port[0]):
            changes, levels = port
            rows = np.stack((changes, changes, np.full(len(changes), PORT), levels))
            served = np.concatenate((rows, served), axis=1)
            served = served[:, np.argsort(served[1], kind="stable")]
        return zip(*served.tolist(), strict=True)
