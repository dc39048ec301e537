"""Taking out pulses that are too short to be teeth."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from edgewheel.edges.captures.capture import edges_only
from edgewheel.edges.table import EdgeChunk, join


def without_glitches(
    chunks: Sequence[EdgeChunk], filter_s: Fraction, tick_hz: int
) -> tuple[list[EdgeChunk], list[str]]:
    """The edges without pulses shorter than `filter_s`, and what to say of them.

    Of pulses on end the first goes first, as an input's filter would swallow it.
    """
    if not filter_s:
        return list(chunks), []
    edges = edges_only(join(*chunks))
    least = float(filter_s * tick_hz)
    keep = np.ones(len(edges), bool)
    for track in np.unique(edges.track):
        own = np.flatnonzero(edges.track == track)
        kept: list[int] = []
        ticks = edges.ticks[own].tolist()
        for number, tick in zip(own.tolist(), ticks, strict=True):
            if kept and tick - int(edges.ticks[kept[-1]]) < least:
                keep[number] = keep[kept.pop()] = False
            else:
                kept.append(number)
    gone = int((~keep).sum()) // 2
    note = f"{gone} pulses shorter than {float(filter_s * 10**6):g} us are taken out"
    return [EdgeChunk(edges.ticks[keep], edges.track[keep], edges.level[keep])], [note]
