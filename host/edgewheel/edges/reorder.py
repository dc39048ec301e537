"""Edges that come out of order by a bounded time, put in order chunk by chunk."""

from __future__ import annotations

import numpy as np

from edgewheel.edges.table import EdgeChunk, join


class Reorder:
    """Keeps edges until nothing can come before them. Edges of one tick come by track, those of one
    track in the order they came in.
    """

    def __init__(self) -> None:
        self._kept = EdgeChunk.empty()

    def push(self, *chunks: EdgeChunk) -> None:
        """Take edges in any order."""
        self._kept = join(self._kept, *chunks)

    def release(self, before_tick: int | None = None) -> EdgeChunk:
        """The kept edges below a tick, or all, ascending."""
        kept = self._kept
        if bool(np.any(kept.ticks[1:] <= kept.ticks[:-1])):
            kept = kept[np.lexsort((kept.track, kept.ticks))]
        cut = len(kept) if before_tick is None else int(np.searchsorted(kept.ticks, before_tick))
        self._kept = kept[cut:]
        return kept[:cut]
