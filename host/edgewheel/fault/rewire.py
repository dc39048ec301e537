"""Faults that give a line another level for a while: its inverse, a fixed one, another track's.

Nothing is known ahead and nothing is moved: within a stretch the line follows its source, outside
it its own signal, and an edge comes at either border where the two differ. Of a border and an edge
nearer than `apart_ticks` the later one decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np

from edgewheel.edges.reorder import Reorder
from edgewheel.edges.table import NO_TOOTH, EdgeChunk, EdgeHeader, Ticks, join
from edgewheel.fault.model import Changes, Kind, Table
from edgewheel.fault.window import EVER, Bools, Spans


class Stretches(Protocol):
    """When a line follows its source."""

    def until(self, chunk: EdgeChunk, tick: int) -> tuple[Ticks, Ticks]:
        """Begins and ends (n,), ascending and apart, of at least all that begin before a tick.

        `chunk` are the sound edges of all tracks that have come since the last call.
        """


class WindowStretches:
    """The stretches of a window."""

    def __init__(self, spans: Spans) -> None:
        self._spans = spans

    def until(self, chunk: EdgeChunk, tick: int) -> tuple[Ticks, Ticks]:
        """All stretches of the motion as it is now."""
        return self._spans.stretches()


@dataclass(frozen=True)
class Source:
    """What a line follows: `inverse` of itself, the level it has (`held`), a `level`, a `track`."""

    kind: Literal["inverse", "held", "level", "track"]
    value: int = 0


@dataclass(frozen=True)
class Wire:
    """A track that follows a source for some stretches."""

    track: int
    source: Source
    stretches: Stretches


def rewire(
    wires: tuple[Wire, ...],
    header: EdgeHeader,
    chunks: Iterable[EdgeChunk],
    changes: Changes,
    apart_ticks: int,
    end_tick: int,
) -> Table:
    """The table with some lines rewired; nothing is switched after `end_tick`."""
    works = [_Line(wire, header, changes, apart_ticks) for wire in wires]
    initial = list(header.initial)
    for work in works:
        initial[work.track] = work.level
    faulty = EdgeHeader(header.tick_hz, header.tracks, tuple(initial))
    return faulty, _rewired(works, chunks, apart_ticks, end_tick)


def _rewired(
    lines: list[_Line], chunks: Iterable[EdgeChunk], apart: int, end_tick: int
) -> Iterator[EdgeChunk]:
    order = Reorder()
    waiting = EdgeChunk.empty()
    rewired = [line.track for line in lines]
    latest = end_tick
    for chunk in chunks:
        if not len(chunk):
            yield chunk
            continue
        order.push(chunk[~np.isin(chunk.track, rewired)])
        waiting = join(waiting, chunk)
        latest = int(chunk.ticks[-1])
        cut = int(np.searchsorted(waiting.ticks, latest))
        for line in lines:
            order.push(line.take(waiting[:cut], latest))
        waiting = waiting[cut:]
        yield order.release(latest - apart)
    for line in lines:
        order.push(line.take(waiting, max(latest, end_tick) + 1), line.rest())
    yield order.release()


class _Line:
    """One rewired line at work: what its own signal and its source do, and what comes of it."""

    def __init__(self, wire: Wire, header: EdgeHeader, changes: Changes, apart: int) -> None:
        self.track = wire.track
        self._wire = wire
        self._name = header.tracks[wire.track]
        self._changes = changes
        self._apart = apart
        self._levels = list(header.initial)
        self._pending = EdgeChunk.empty()
        self._border_ticks: Ticks = np.empty(0, np.int64)
        self._sound = EdgeChunk.empty()
        self._from = -EVER
        begins, _ = wire.stretches.until(EdgeChunk.empty(), 0)
        begun = bool(len(begins)) and int(begins[0]) == -EVER
        self.level = self._source_level() if begun else header.initial[wire.track]

    def take(self, edges: EdgeChunk, until: int) -> EdgeChunk:
        """The sound edges of all tracks up to a tick; returns the line's edges that are certain."""
        begins, ends = self._wire.stretches.until(edges, until)
        own = edges[edges.track == self.track]
        parts = [own[~_inside(own, begins, ends)], *self._followed(edges, begins, ends)]
        borders = join(
            self._borders(begins, until, edges, self._before_source),
            self._borders(ends, until, edges, self._before_own),
        )
        self._pending = join(self._pending, _in_order(borders, join(*parts)))
        self._border_ticks = np.concatenate([self._border_ticks, borders.ticks])
        self._sound = join(self._sound, own)
        for track in range(len(self._levels)):
            of_track = edges.level[edges.track == track]
            if len(of_track):
                self._levels[track] = int(of_track[-1])
        self._from = until
        return self._settle(until - self._apart)

    def rest(self) -> EdgeChunk:
        """What is left when no edge follows."""
        return self._settle(EVER)

    def _followed(self, edges: EdgeChunk, begins: Ticks, ends: Ticks) -> list[EdgeChunk]:
        """The edges of the source within the stretches."""
        source = self._wire.source
        if source.kind == "inverse":
            own = edges[edges.track == self.track]
            own = own[_inside(own, begins, ends)]
            return [EdgeChunk(own.ticks, own.track, 1 - own.level, own.passage)]
        if source.kind == "track":
            other = edges[edges.track == source.value]
            other = other[_inside(other, begins, ends)]
            mine = np.full(len(other), self.track, np.uint8)
            return [EdgeChunk(other.ticks, mine, other.level, np.full(len(other), NO_TOOTH))]
        return []

    def _borders(
        self, ticks: Ticks, until: int, edges: EdgeChunk, level: _LevelBefore
    ) -> EdgeChunk:
        """The level that the line takes on at each border since the last call."""
        new = ticks[(ticks >= self._from) & (ticks < until) & (ticks > -EVER)]
        levels = [level(edges, int(tick)) for tick in new]
        track = np.full(len(new), self.track, np.uint8)
        return EdgeChunk(new, track, np.array(levels, np.uint8), np.full(len(new), NO_TOOTH))

    def _before_own(self, edges: EdgeChunk, tick: int) -> int:
        return self._before(edges, tick, self.track)

    def _before_source(self, edges: EdgeChunk, tick: int) -> int:
        source = self._wire.source
        if source.kind == "level":
            return source.value
        if source.kind == "track":
            return self._before(edges, tick, source.value)
        own = self._before(edges, tick, self.track)
        return 1 - own if source.kind == "inverse" else own

    def _before(self, edges: EdgeChunk, tick: int, track: int) -> int:
        """A track's sound level just before a tick."""
        own = edges[edges.track == track]
        place = int(np.searchsorted(own.ticks, tick))
        return int(own.level[place - 1]) if place else self._levels[track]

    def _source_level(self) -> int:
        return self._before_source(EdgeChunk.empty(), 0)

    def _settle(self, cut: int) -> EdgeChunk:
        """The pending edges below a tick that change the level."""
        pending = self._pending
        count = int(np.searchsorted(pending.ticks, cut))
        near = np.append(np.diff(pending.ticks) < self._apart, False)
        border = np.isin(pending.ticks, self._border_ticks)
        undone = near & (border | np.append(border, False)[1:])
        lasting = pending[:count][~undone[:count]]
        before = np.concatenate([[self.level], lasting.level])[:-1]
        edges = lasting[lasting.level != before]
        self._pending = pending[count:]
        self._border_ticks = self._border_ticks[self._border_ticks >= cut]
        if len(edges):
            self.level = int(edges.level[-1])
        self._note(edges, cut)
        return edges

    def _note(self, edges: EdgeChunk, cut: int) -> None:
        count = int(np.searchsorted(self._sound.ticks, cut))
        sound, self._sound = self._sound[:count], self._sound[count:]
        stays = np.isin(sound.ticks, edges.ticks)
        found = np.isin(edges.ticks, sound.ticks)
        turned = edges.level[found] != sound.level[stays]
        self._changes.add(Kind.REMOVED, self._name, sound[~stays])
        self._changes.add(Kind.ADDED, self._name, edges[~found])
        self._changes.add(Kind.TURNED, self._name, edges[found][turned])


class _LevelBefore(Protocol):
    def __call__(self, edges: EdgeChunk, tick: int) -> int: ...


def _inside(edges: EdgeChunk, begins: Ticks, ends: Ticks) -> Bools:
    place = np.searchsorted(begins, edges.ticks, "right") - 1
    if not len(begins):
        return np.zeros(len(edges), np.bool_)
    inside: Bools = (place >= 0) & (edges.ticks < ends[np.maximum(place, 0)])
    return inside


def _in_order(borders: EdgeChunk, edges: EdgeChunk) -> EdgeChunk:
    """Both by tick, a border before an edge of the same tick."""
    both = join(borders, edges)
    return both[np.argsort(both.ticks, kind="stable")]
