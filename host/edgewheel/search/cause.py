"""A flip in words: what an engineer would say has happened at the pin."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable
from edgewheel.edges.table import NO_TOOTH, EdgeChunk, join
from edgewheel.fault.flips import Flip
from edgewheel.fault.model import US_PER_S
from edgewheel.fault.signal import SignalPlan, sound_signal


@dataclass(frozen=True)
class _Edge:
    """A sound edge of a track: its tick, whether it rises, its tooth and the turn it passes in."""

    tick: int
    rises: bool
    tooth: int
    turn: int

    def __str__(self) -> str:
        way = "rising" if self.rises else "falling"
        return f"the {way} edge of tooth {self.tooth}, turn {self.turn}"


class CauseWords:
    """Describes flips of a signal plan, in the plan's own time."""

    def __init__(self, plan: SignalPlan, tick_hz: int) -> None:
        sound = sound_signal(plan)
        compiler = EdgeCompiler(sound.levels, sound.motion, tick_hz, passages=True)
        edges = join(*compiler.chunks())
        self._us = Fraction(US_PER_S, tick_hz)
        self._tick_hz = tick_hz
        self._edges = {
            name: _edges_of(edges, number, sound.levels)
            for number, name in enumerate(compiler.header().tracks)
        }

    def of(self, flip: Flip) -> str:
        """One line about a flip."""
        begin, end = flip.ticks(self._tick_hz)
        edges = self._edges[flip.track]
        ticks = [edge.tick for edge in edges]
        inside = edges[bisect_left(ticks, begin) : bisect_left(ticks, end + 1)]
        lasts = f"{float((end - begin) * self._us):.6g} us"
        if flip.from_us < 0:
            return "the level is inverted from the start"
        if not inside:
            return f"a pulse of {lasts} more, {self._place(begin, edges)}"
        first, last = inside[0], inside[-1]
        if len(inside) == 1 and first.tick == begin:
            return f"{first} comes {lasts} late"
        if len(inside) == 1 and first.tick == end:
            return f"{first} comes {lasts} early"
        if len(inside) == 2 and (first.tick, last.tick) == (begin, end):
            same = (first.tooth, first.turn) == (last.tooth, last.turn)
            what = f"tooth {first.tooth}" if same else f"the space behind tooth {first.tooth}"
            return f"{what}, turn {first.turn}, does not come"
        return f"the level is inverted for {lasts}, over {len(inside)} edges"

    def _place(self, tick: int, edges: Sequence[_Edge]) -> str:
        number = bisect_left([edge.tick for edge in edges], tick)
        if not number:
            return "before the first edge"
        edge = edges[number - 1]
        return f"{float((tick - edge.tick) * self._us):.6g} us after {edge}"


def _edges_of(edges: EdgeChunk, number: int, levels: LevelTable) -> list[_Edge]:
    """A track's edges; turns are of its own shaft, from 1."""
    own = edges[edges.track == number]
    assert own.passage is not None
    count = levels.teeth[number]
    rows = zip(own.ticks.tolist(), own.level.tolist(), own.passage.tolist(), strict=True)
    return [
        _Edge(tick, bool(level), passage % count + 1, passage // count + 1)
        for tick, level, passage in rows
        if passage != NO_TOOTH
    ]
