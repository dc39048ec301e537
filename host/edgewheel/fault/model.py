"""What every fault is: a named edit of an edge table whose reach in time is known."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Protocol

from edgewheel.edges.table import EdgeChunk, EdgeHeader, Ticks

MOST_CHANGES = 10_000
"""Changes kept with their place; all are counted."""


@dataclass(frozen=True)
class Change:
    """One thing a fault did: from which tick, on which track, and what."""

    tick: int
    track: str
    what: str


@dataclass
class Changes:
    """What a fault did in a run."""

    count: int = 0
    kept: list[Change] = field(default_factory=list)

    def add_many(self, ticks: Ticks, track: str, what: str) -> None:
        """The same change at each of `ticks` (n,)."""
        room = MOST_CHANGES - len(self.kept)
        self.kept += [Change(tick, track, what) for tick in ticks[:room].tolist()]
        self.count += len(ticks)


class EdgeFault(Protocol):
    """A fault of sensor or loom."""

    def apply(
        self, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Iterator[EdgeChunk]:
        """The faulty table's chunks; where they end never depends on where the sound ones do."""
