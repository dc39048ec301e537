"""Where a line did nothing: no row shows it, and no count of events that were missed one by one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from edgewheel.bench.timing.crank import crank_at
from edgewheel.bench.timing.measure import CYCLE_DEG, Measured
from edgewheel.bench.timing.rows import Span
from edgewheel.motion.motion import Motion

SILENT_DEG = 3 * CYCLE_DEG
"""Turned without an event: that is none missed, but a line that is dead or switched off."""


def silences(lines: Sequence[Measured], live: Sequence[Span], motion: Motion) -> Iterator[str]:
    """A sentence for each line without an event and each long pause; `live` as in `rows_of`."""
    for line in lines:
        if not len(line):
            yield f"{line.name}: no pulse at all. Look at its wire and at its line in 'outputs:'."
        else:
            yield from _pauses(line, live, motion)


def _pauses(line: Measured, live: Sequence[Span], motion: Motion) -> Iterator[str]:
    ends = line.events.end_s
    for begin, end in live:
        marks = np.concatenate(([begin], ends[(ends > begin) & (ends < end)], [end]))
        turned = np.abs(np.diff(crank_at(motion, marks).deg))
        for k in np.flatnonzero(turned > SILENT_DEG).tolist():
            yield (
                f"{line.name}: nothing from {marks[k]:.3f} to {marks[k + 1]:.3f} s, for "
                f"{turned[k] / CYCLE_DEG:.1f} cycles of the engine."
            )
