"""What both ends of the wire remember of a stream: deltas and masks of its latest transitions."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]

_SLACK = 8192


class History:
    """The latest transitions of a run, addressed by their index since START.

    Prediction looks at most `depth` back; `keep` more than that are remembered so that a SPLICE can
    go back. Arrays are written behind the end and become history by :meth:`commit`, so a frame that
    turns out wrong half-way leaves no trace.
    """

    def __init__(self, depth: int, keep: int = 0) -> None:
        self.depth = depth
        self.keep = keep
        self.count = 0  # transitions since START
        self.tick = 0  # run tick of the last of them
        self._held = 0  # how many of them lie in the arrays, from place 0 on
        self._deltas = np.zeros(depth + keep + _SLACK, np.int64)
        self._masks = np.zeros(depth + keep + _SLACK, np.uint8)

    def room(self, extra: int) -> tuple[Ints, Bytes, int]:
        """The arrays and the place of the next transition, with room for `extra` more behind it."""
        if self._held + extra > len(self._deltas):
            self._forget(extra)
        return self._deltas, self._masks, self._held

    def _forget(self, extra: int) -> None:
        deltas, masks = self.tail(self.depth + self.keep)
        size = self.depth + self.keep + max(extra, _SLACK)
        if size > len(self._deltas):
            self._deltas, self._masks = np.zeros(size, np.int64), np.zeros(size, np.uint8)
        self._put(deltas, masks)

    def _put(self, deltas: Ints, masks: Bytes) -> None:
        self._held = len(deltas)
        self._deltas[: self._held] = deltas
        self._masks[: self._held] = masks

    def commit(self, extra: int, tick: int) -> None:
        """Take in the `extra` transitions written behind the end, the last at run tick `tick`."""
        self.count += extra
        self._held += extra
        self.tick = tick

    def tail(self, wanted: int) -> tuple[Ints, Bytes]:
        """Copies of the last `wanted` deltas and masks, fewer if fewer are remembered."""
        begin = max(0, self._held - wanted)
        return self._deltas[begin : self._held].copy(), self._masks[begin : self._held].copy()

    def mask_before(self, count: int) -> int | None:
        """The mask after `count` transitions; None if there was none yet or it is forgotten."""
        place = self._held - (self.count - count) - 1
        return int(self._masks[place]) if 0 <= place < self._held else None

    def truncated(self, count: int, tick: int) -> History:
        """What it was when it held `count` transitions, the last of them at run tick `tick`.

        ValueError if transitions that prediction may want from there are no longer remembered.
        """
        end = self._held - (self.count - count)
        if count > self.count or end < min(count, self.depth):
            raise ValueError(f"transition {count} lies outside the history that is kept")
        earlier = History(self.depth, self.keep)
        begin = max(0, end - self.depth - self.keep)  # a next SPLICE may lie before this one
        earlier._put(self._deltas[begin:end], self._masks[begin:end])
        earlier.count, earlier.tick = count, tick
        return earlier
