"""Which tooth made each edge of a capture, so that faults can name teeth of an engine that ran."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from edgewheel.bench.timing.crank import crank_at
from edgewheel.edges.captures.capture import Capture
from edgewheel.edges.levels import LevelTable
from edgewheel.edges.table import NO_TOOTH, Ticks
from edgewheel.motion.motion import Motion

Floats = npt.NDArray[np.float64]


def passages_by_angle(
    capture: Capture,
    tracks: tuple[str | None, ...],
    levels: LevelTable,
    motion: Motion,
    speed: float,
) -> Ticks:
    """The passage (n,) of each edge of a capture whose engine turned by `motion`, played `speed`
    times as fast; `tracks` gives for each of the wheel's tracks the capture's.

    The edge of the wheel that is nearest made it; of two edges with the same nearest one the
    further, and an edge of a way or a track that the wheel has not, are of no tooth.
    """
    seconds = capture.edges.ticks / (capture.header.tick_hz * speed)
    degrees = crank_at(motion, seconds).deg
    passage = np.full(len(seconds), NO_TOOTH, np.int64)
    for number, name in enumerate(tracks):
        if name is None:
            continue
        own = capture.edges.track == capture.header.tracks.index(name)
        for level in (0, 1):
            mine = np.flatnonzero(own & (capture.edges.level == level))
            passage[mine] = _nearest(degrees[mine], levels, number, level)
    return passage


def _nearest(degrees: Floats, levels: LevelTable, track: int, level: int) -> Ticks:
    """The passage (n,) of a track's edges to one level at crank degrees (n,)."""
    rows = [
        row
        for row, (of, to) in enumerate(zip(levels.track, levels.level, strict=True))
        if (of, to) == (track, level)
    ]
    if not rows or not len(degrees):
        return np.full(len(degrees), NO_TOOTH, np.int64)
    period, count = levels.period, levels.passages[track]
    once = np.array([float(levels.angles[row]) for row in rows])
    numbers = np.array([levels.passage[row] for row in rows], np.int64)
    places = np.concatenate([once - period, once, once + period])
    passages = np.concatenate([numbers - count, numbers, numbers + count])
    cycle, rest = np.divmod(degrees, period)
    nearest = np.argmin(np.abs(places[None, :] - rest[:, None]), axis=1)
    found = passages[nearest] + cycle.astype(np.int64) * count
    off = np.abs(places[nearest] - rest)
    first = np.lexsort((off, found))
    doubled = np.concatenate([[False], found[first][1:] == found[first][:-1]])
    found[first[doubled]] = NO_TOOTH
    return np.asarray(found)
