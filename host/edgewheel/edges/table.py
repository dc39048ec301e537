"""The two tables of integers that everything right of the wheel works on, in chunks.

An edge table says what the controller's pin sees, a pin table what the board must do so that it
does. Both come as a header and an iterator of chunks, so a run of a day takes the memory of a
second.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Ticks = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]

NO_TOOTH = -(1 << 62)
"""The passage of an edge that no tooth makes."""


@dataclass(frozen=True)
class EdgeHeader:
    """What holds for every chunk of an edge table.

    `tracks` names the values of the column `track`; `initial` is each track's level before its
    first edge.
    """

    tick_hz: int
    tracks: tuple[str, ...]
    initial: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class EdgeChunk:
    """n edges at the controller's pins.

    `ticks` (n,) int64, ascending; `track` and `level` (n,) uint8. `passage` (n,) int64, made only
    on request, tells which passage of a tooth each edge belongs to, counted on its own track
    forward from angle 0; `NO_TOOTH` where it is none.
    """

    ticks: Ticks
    track: Bytes
    level: Bytes
    passage: Ticks | None = None

    def __len__(self) -> int:
        return len(self.ticks)

    def __getitem__(self, part: slice | npt.NDArray[Any]) -> EdgeChunk:
        passage = None if self.passage is None else self.passage[part]
        return EdgeChunk(self.ticks[part], self.track[part], self.level[part], passage)

    @classmethod
    def empty(cls, *, passages: bool = False) -> EdgeChunk:
        """No edges, with a column of passages or without."""
        none = np.empty(0, np.int64)
        no_bytes = np.empty(0, np.uint8)
        return cls(none, no_bytes, no_bytes, none if passages else None)


@dataclass(frozen=True)
class PinHeader:
    """What holds for every chunk of a pin table: the masks set at ARM and after parking."""

    tick_hz: int
    initial_mask: int
    idle_mask: int


@dataclass(frozen=True, eq=False)
class PinChunk:
    """n transitions of the board's outputs.

    `ticks` (n,) int64 run ticks, strictly ascending, at least the board's shortest hold and less
    than 2**32 apart; `masks` (n,) uint8, the levels of all outputs from that tick on.
    """

    ticks: Ticks
    masks: Bytes

    def __len__(self) -> int:
        return len(self.ticks)


def join(*chunks: EdgeChunk) -> EdgeChunk:
    """Chunks as one."""
    full = [chunk for chunk in chunks if len(chunk)]
    if len(full) < 2:
        return full[0] if full else EdgeChunk.empty()
    passages = [chunk.passage for chunk in full if chunk.passage is not None]
    return EdgeChunk(
        np.concatenate([chunk.ticks for chunk in full]),
        np.concatenate([chunk.track for chunk in full]),
        np.concatenate([chunk.level for chunk in full]),
        np.concatenate(passages) if len(passages) == len(full) else None,
    )
