"""Which passage of which tooth an edge belongs to, from its number."""

from __future__ import annotations

import numpy as np

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.table import Ticks


class Passages:
    """Passages of a level table's edges.

    On each track the teeth that pass are counted forward from angle 0; both edges of a tooth, and
    a VR sensor's crossing in the space behind it, belong to its passage.
    """

    def __init__(self, levels: LevelTable) -> None:
        self._column = np.array(levels.passage, np.int64)
        self._step = np.array(levels.passages, np.int64)[np.array(levels.track, np.intp)]

    def of(self, begin: int, end: int) -> Ticks:
        """Passages (end - begin,) of edges begin to end, numbered as the compiler numbers them."""
        cycle, column = np.divmod(np.arange(begin, end, dtype=np.int64), len(self._column))
        passage: Ticks = cycle * self._step[column] + self._column[column]
        return passage
