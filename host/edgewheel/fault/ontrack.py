"""Faults that answer to single edges of one track: what they see of it, and how it is put together.

Such a fault sees two edges of its track either way, none further off than `HORIZON_S`. It may
remove the edge, move it, and add pulses before the next edge. No edge passes the one before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Protocol, cast

import numpy as np

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import Floats
from edgewheel.edges.reorder import Reorder
from edgewheel.edges.table import NO_TOOTH, EdgeChunk, EdgeHeader, Ticks, join
from edgewheel.fault.crank import Crank
from edgewheel.fault.model import Changes, Kind, Scene, Table, ToothFault
from edgewheel.fault.repetition import Repetition
from edgewheel.fault.window import EVER, Bools, Spans

CONTEXT = 2
"""Edges of its track that a fault sees before and after one."""

HORIZON_S = 5
"""Edges further apart than this know nothing of each other, so that a line that falls silent does
not hold up the others."""


@dataclass(frozen=True)
class Edit:
    """What becomes of n edges: where each comes instead, whether it comes, what comes beside it."""

    to_ticks: Ticks
    comes: Bools
    added: tuple[EdgeChunk, ...] = ()


class TrackFault(ToothFault, Protocol):
    """A fault of one track, edge by edge."""

    def edit(self, view: View) -> Edit:
        """What becomes of the view's edges; elementwise, so that no other edge matters."""


@dataclass(frozen=True, eq=False)
class Place:
    """What a fault's views of one table have in common."""

    scene: Scene
    track: int
    spans: Spans
    repetition: Repetition
    crank: Crank


@dataclass(frozen=True, eq=False)
class View:
    """n edges of a track, `own[begin:end]`, among their neighbours."""

    place: Place
    own: EdgeChunk
    begin: int
    end: int

    @property
    def scene(self) -> Scene:
        return self.place.scene

    @property
    def edges(self) -> EdgeChunk:
        """The n edges."""
        return self.own[self.begin : self.end]

    def ticks(self, offset: int) -> Ticks:
        """Ticks (n,) of the edges so many further on, or back; `EVER` away where there are none."""
        here = self.own.ticks[self.begin : self.end]
        number = np.arange(self.begin, self.end) + offset
        there = self.own.ticks[np.clip(number, 0, len(self.own) - 1)]
        horizon = HORIZON_S * self.scene.tick_hz
        known = (number >= 0) & (number < len(self.own)) & (abs(there - here) < horizon)
        return cast(Ticks, np.where(known, there, EVER if offset > 0 else -EVER))

    @property
    def chosen(self) -> Bools:
        """Whether the fault is there (n,): window by each edge's tick, repetition by its tooth."""
        return self._chosen_at(self.edges)

    @property
    def ends_tooth(self) -> Bools:
        """Whether each edge (n,) is the second of the two of a tooth that passes."""
        before = np.concatenate([[False], self._pairs])
        return cast(Bools, before[self.begin : self.end])

    @property
    def tooth_chosen(self) -> Bools:
        """Whether the fault is there (n,) at each edge of a whole tooth, as its first edge says."""
        first = self._pairs & self._chosen_at(self.own)
        second = np.concatenate([[False], first])[: len(first)]
        return cast(Bools, (first | second)[self.begin : self.end])

    @property
    def angles_deg(self) -> Floats:
        """Crank degrees (n,) within two turns of the sound tooth that each edge belongs to."""
        return passage_angles(self.scene.levels, self.place.track, self.edges.passage)

    def _chosen_at(self, edges: EdgeChunk) -> Bools:
        passage = edges.passage
        assert passage is not None
        place = self.place
        chosen = place.repetition.chosen(self.scene.levels, place.track, passage, self.scene.key)
        return chosen & place.spans.inside(edges.ticks)

    @cached_property
    def _pairs(self) -> Bools:
        """Whether each of `own` is the first edge of a whole tooth.

        Where the wheel turns round at a tooth, four edges are of one; the level tells them apart.
        """
        ticks, passage = self.own.ticks, self.own.passage
        assert passage is not None
        near = np.diff(ticks) < HORIZON_S * self.scene.tick_hz
        same = (passage[1:] == passage[:-1]) & (passage[1:] != NO_TOOTH) & near
        followed, follows = np.append(same, False), np.concatenate([[False], same])
        entering = self.own.level == first_level(self.scene, self.place.track)
        return cast(Bools, followed & (~follows | entering))


def first_level(scene: Scene, track: int) -> int:
    """The level after the first edge of each tooth of a track."""
    levels = scene.levels
    columns = [column for column, t in enumerate(levels.track) if t == track]
    for here, after in pairwise(columns):
        if levels.passage[here] == levels.passage[after]:
            return levels.level[here]
    return levels.level[columns[0]] if columns else 1


def passage_angles(levels: LevelTable, track: int, passage: Ticks | None) -> Floats:
    """Crank degrees (n,) in [0, 720) of each passage's first edge; 0 where no tooth is."""
    count, cycle_deg = levels.passages[track], levels.period
    first_deg = np.zeros(count)
    for column in reversed(range(len(levels))):
        if levels.track[column] == track:
            place = levels.passage[column]
            first_deg[place % count] = float(levels.angles[column]) - cycle_deg * (place // count)
    assert passage is not None
    cycle, number = np.divmod(np.where(passage == NO_TOOTH, 0, passage), count)
    return (cycle * cycle_deg + first_deg[number]) % 720


def shaft_angles(levels: LevelTable, track: int, passage: Ticks | None) -> Floats:
    """The same in degrees (n,) of the track's own shaft."""
    turn_deg = levels.period * levels.teeth[track] / levels.passages[track]
    return passage_angles(levels, track, passage) * 360 / turn_deg


class EdgeByEdge:
    """What makes an edge fault of a `TrackFault`."""

    def apply(
        self: TrackFault,
        scene: Scene,
        header: EdgeHeader,
        chunks: Iterable[EdgeChunk],
        changes: Changes,
    ) -> Table:
        """The table with the fault at work; raises ValueError if it has no such track."""
        return header, _edited(_Work(self, scene, header, changes), chunks)


def _edited(work: _Work, chunks: Iterable[EdgeChunk]) -> Iterator[EdgeChunk]:
    for chunk in chunks:
        yield work.take(chunk) if len(chunk) else chunk
    yield work.rest()


@dataclass
class _Work:
    """The fault at work on one table."""

    fault: TrackFault
    scene: Scene
    header: EdgeHeader
    changes: Changes
    _order: Reorder = field(default_factory=Reorder)
    _own: EdgeChunk = field(default_factory=EdgeChunk.empty)
    _done: int = 0
    _last: int = -EVER

    def __post_init__(self) -> None:
        fault, scene = self.fault, self.scene
        self._track = self.header.tracks.index(fault.track)
        spans = Spans(fault.window, scene.motion, scene.tick_hz)
        crank = Crank(scene.motion, scene.tick_hz)
        self._place = Place(scene, self._track, spans, fault.repetition, crank)

    def take(self, chunk: EdgeChunk) -> EdgeChunk:
        """Add a chunk; returns the edges that nothing can come before any more."""
        mine = chunk.track == self._track
        self._own = join(self._own, chunk[mine])
        self._order.push(chunk[~mine])
        horizon = HORIZON_S * self.scene.tick_hz
        latest = int(chunk.ticks[-1])
        old = int(np.searchsorted(self._own.ticks, latest - horizon, "right"))
        settled = max(len(self._own) - CONTEXT, old, self._done)
        self._edit(settled)
        safe = latest - 2 * horizon
        if settled:
            safe = max(safe, int(self._own.ticks[settled - 1]))
        drop = max(settled - CONTEXT, 0)
        self._own, self._done = self._own[drop:], settled - drop
        return self._order.release(safe)

    def rest(self) -> EdgeChunk:
        """What is left, now that no edge follows."""
        self._edit(len(self._own))
        return self._order.release()

    def _edit(self, settled: int) -> None:
        if settled <= self._done:
            return
        edges = self._own[self._done : settled]
        edit = self.fault.edit(View(self._place, self._own, self._done, settled))
        to_ticks = self._ascending(edit.to_ticks, edit.comes)
        comes = edit.comes & (to_ticks < EVER)
        moved = comes & (to_ticks != edges.ticks)
        track = self.fault.track
        self.changes.add(Kind.REMOVED, track, edges[~comes])
        self.changes.add(Kind.MOVED, track, edges[moved], to_ticks[moved])
        passage = None if edges.passage is None else edges.passage[comes]
        self._order.push(
            EdgeChunk(to_ticks[comes], edges.track[comes], edges.level[comes], passage)
        )
        for added in edit.added:
            self.changes.add(Kind.ADDED, track, added)
            self._order.push(added)

    def _ascending(self, ticks: Ticks, comes: Bools) -> Ticks:
        """The ticks (n,) of edges, those that come put behind the one before where they are not.

        Behind one that does not come any more none does.
        """
        apart, ascending = self.scene.shortest_ticks, np.minimum(ticks, EVER)
        coming = np.flatnonzero(comes)
        if bool(np.any(np.diff(ascending[coming], prepend=self._last) <= 0)):
            last = self._last
            for number in coming.tolist():
                if ascending[number] <= last:
                    ascending[number] = min(last + apart, EVER)
                last = int(ascending[number])
        if len(coming):
            self._last = int(ascending[coming[-1]])
        return ascending


def pulses(edges: EdgeChunk, starts: Ticks, ends: Ticks) -> tuple[EdgeChunk, EdgeChunk]:
    """Pulses (n,) back from the level after each of `edges` (n,), belonging to no tooth."""
    nobody = np.full(len(edges), NO_TOOTH)
    return (
        EdgeChunk(starts, edges.track, 1 - edges.level, nobody),
        EdgeChunk(ends, edges.track, edges.level, nobody),
    )
