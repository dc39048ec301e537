"""The simulated board's queue of EDGES: what came, checked as it comes, decoded as it is due."""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from edgewheel.link.blocks import (
    FRAME_TRANSITIONS,
    LOW_32,
    BlockDecoder,
    StreamError,
    StreamLimits,
)
from edgewheel.link.history import History
from edgewheel.link.messages import COST_OVERHEAD, EDGES_HEAD, Edges, End

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]


class OverrunError(Exception):
    """More stream than there was credit for."""


class _Queued(NamedTuple):
    edges: Edges
    cost: int
    begins_course: bool


def cost_of(edges: Edges) -> int:
    """What an EDGES frame takes of the credit, in bytes."""
    return EDGES_HEAD + len(edges.blocks) + COST_OVERHEAD


class Stream:
    """The transitions of a run that the board knows: decoded ones, then frames still packed."""

    def __init__(self, limits: StreamLimits, buffer_bytes: int) -> None:
        self.known = 0  # transitions decoded or queued
        self.queued = 0  # bytes waiting
        self.end: End | None = None
        self._known_low = 0  # low 32 bits of the last known transition's run tick
        self._buffer = buffer_bytes
        self._returned = 0
        self._frames: deque[_Queued] = deque()
        self._begins_course = True
        self._decoder = BlockDecoder(limits, History(limits.history_depth, FRAME_TRANSITIONS))
        self._frame_start = (0, 0)  # count and tick before the newest decoded frame

    @property
    def credit(self) -> int:
        """Stream bytes that there has been room for since ARM."""
        return self._buffer + self._returned

    @property
    def decoded(self) -> int:
        """Transitions decoded since START."""
        return self._decoder.history.count

    @property
    def decoded_tick(self) -> int:
        """Run tick of the last of them, 0 if there is none."""
        return self._decoder.history.tick

    @property
    def waiting(self) -> bool:
        """Are there frames that are not decoded yet?"""
        return bool(self._frames)

    def push(self, edges: Edges) -> None:
        """Queue a frame; OverrunError or StreamError if it does not fit what came before."""
        cost = cost_of(edges)
        if self.queued + cost > self._buffer:
            raise OverrunError
        if self.end is not None:
            raise StreamError("EDGES after END")
        if edges.first != self.known & LOW_32 or not 0 < edges.count <= FRAME_TRANSITIONS:
            raise StreamError(f"frame begins at {edges.first}, stream at {self.known}")
        self._frames.append(_Queued(edges, cost, self._begins_course))
        self._begins_course = False
        self.known += edges.count
        self._known_low = edges.end_tick
        self.queued += cost

    def ignore(self, edges: Edges) -> None:
        """Give back what a frame cost that is of no use any more."""
        self._returned += cost_of(edges)

    def drop(self) -> None:
        """Forget everything that is queued: the run is over."""
        self._give_back(self.queued)
        self._frames.clear()

    def close(self, end: End) -> None:
        """No transitions come any more; StreamError if count or last tick do not fit."""
        if end.count != self.known or end.last_tick & LOW_32 != self._known_low:
            raise StreamError("END does not fit the stream")
        if not self._frames and end.last_tick != self.decoded_tick:
            raise StreamError("END does not fit the stream")
        self.end = end

    def decode_next(self) -> tuple[Ints, Bytes]:
        """Run ticks and masks of the next queued frame; StreamError if it is not what it says."""
        edges, cost, begins_course = self._frames.popleft()
        self._give_back(cost)
        before = (self.decoded, self.decoded_tick)
        if begins_course:
            self._decoder.lag = 0
        ticks, masks = self._decoder.decode(edges)
        self._frame_start = before
        if not self._frames and self.end and self.end.last_tick != self.decoded_tick:
            self._decoder = self._decoder.rewound(*before)
            raise StreamError("END does not fit the stream")
        return ticks, masks

    def splice(self, first: int, handed: int) -> bool:
        """Forget the stream from `first` on, if a frame not handed over yet begins there.

        Decoded transitions from `first` on are then void; the caller drops them.
        """
        if not handed <= first <= self.known:
            return False
        index, low = self._frame_start[0], self._frame_start[1] & LOW_32
        if first == index and first < self.decoded:
            self._decoder = self._decoder.rewound(*self._frame_start)
            return self._cut(first, low, 0)
        index, low = self.decoded, self.decoded_tick & LOW_32
        for place, frame in enumerate(self._frames):
            if index >= first:
                return index == first and self._cut(first, low, place)
            index, low = index + frame.edges.count, frame.edges.end_tick
        return index == first and self._cut(first, low, len(self._frames))

    def _cut(self, known: int, low: int, kept: int) -> bool:
        while len(self._frames) > kept:
            self._give_back(self._frames.pop().cost)
        self.known, self._known_low = known, low
        self._begins_course = True
        self.end = None
        return True

    def _give_back(self, cost: int) -> None:
        self.queued -= cost
        self._returned += cost
