"""From edge table to pin table: what the board does so that the connector sees the edges.

Undoes the output stage (inversion, and its delay for each polarity), merges edges that fall on one
tick, moves edges of different tracks apart where the board cannot follow, and bridges long rests.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from edgewheel.edges.reorder import Reorder
from edgewheel.edges.stage import OutputStage
from edgewheel.edges.table import Bytes, EdgeChunk, EdgeHeader, PinChunk, PinHeader, Ticks
from edgewheel.errors import UsageError
from edgewheel.wheel.model import MOST_TRACKS

LONGEST_DELTA = 1 << 31
"""Longer rests are bridged by transitions that change nothing; the wire carries less than 2^32."""

IDLE_MASK = 0
"""Every output transistor off, whatever the stage makes of it."""

TAIL_EDGES = 16
"""Edges of a chunk that the next one can be too close to."""

MOST_MOVES = 1000
"""Moves kept with their place; all are counted."""


@dataclass(frozen=True)
class Move:
    """An edge of a track that the board plays `by_ticks` later than its tick."""

    tick: int
    track: str
    by_ticks: int


@dataclass
class Moves:
    """The edges that were moved apart from another track's."""

    count: int = 0
    largest_ticks: int = 0
    kept: list[Move] = field(default_factory=list)

    def add(self, move: Move) -> None:
        self.count += 1
        self.largest_ticks = max(self.largest_ticks, move.by_ticks)
        if len(self.kept) < MOST_MOVES:
            self.kept.append(move)


class PinMaker:
    """Makes the pin table of one edge table.

    `lead_ticks` is the run tick of table tick 0, at least the stage's longest delay. Board limits:
    two transitions are at least `shortest_hold_ticks` apart. The first of a table that goes on from
    another follows the transition at run tick `after_tick`.
    """

    def __init__(
        self,
        header: EdgeHeader,
        stage: OutputStage,
        lead_ticks: int,
        shortest_hold_ticks: int,
        after_tick: int = 0,
    ) -> None:
        if lead_ticks < stage.longest_ticks:
            raise ValueError("the lead must cover the output stage's delay")
        self.moves = Moves()
        self._tracks = header.tracks
        self._hold = shortest_hold_ticks
        self._lead = lead_ticks
        self._mask = stage.pin_mask(header.initial)
        self.header = PinHeader(header.tick_hz, self._mask, IDLE_MASK)
        self._stage = stage
        self._inverts = np.array(stage.inverts, np.uint8)
        self._delays = np.array([stage.fall_ticks, stage.rise_ticks], np.int64)
        self._last_tick = after_tick
        self._tail = EdgeChunk.empty()

    def chunks(
        self, edges: Iterable[EdgeChunk], until_tick: int | None = None
    ) -> Iterator[PinChunk]:
        """The pin table of all edges, in chunks about as large as theirs. Where the last of them is
        before table tick `until_tick`, it rests until then, for the board's run ends with it.

        Raises UsageError where two edges of one track are closer than the board can play.
        """
        order = Reorder()
        for chunk in edges:
            if len(chunk):
                order.push(EdgeChunk(self.pin_ticks(chunk), chunk.track, chunk.level))
                last = int(chunk.ticks[-1]) + self._lead
                yield from self._transitions(order.release(last - self._stage.longest_ticks))
        yield from self._transitions(order.release())
        rest_tick = self._last_tick if until_tick is None else until_tick + self._lead
        if rest_tick >= self._last_tick + self._hold:
            rest = np.array([rest_tick], np.int64), np.array([self._mask], np.uint8)
            yield self._bridged(*rest)

    def pin_ticks(self, chunk: EdgeChunk) -> Ticks:
        """The run tick (n,) at which each edge's pin must move."""
        ticks = chunk.ticks + self._lead
        if self._stage.longest_ticks:
            ticks -= self._delays[chunk.level, chunk.track]
        return ticks

    def _transitions(self, edges: EdgeChunk) -> Iterator[PinChunk]:
        """Pin edges, ascending, as transitions that the board can play."""
        if not len(edges):
            return
        ticks = edges.ticks
        if not self._far_apart(edges):
            ticks = self._apart(edges)
        masks = self._masks(edges)
        last_of_tick = np.append(ticks[1:] != ticks[:-1], True)
        if not last_of_tick.all():
            ticks, masks = ticks[last_of_tick], masks[last_of_tick]
        self._tail = edges[-TAIL_EDGES:]
        yield self._bridged(ticks, masks)
        self._last_tick = int(ticks[-1])
        self._mask = int(masks[-1])

    def _far_apart(self, edges: EdgeChunk) -> bool:
        """True if the board can play them as they are: apart, or of several tracks on one tick."""
        deltas = np.diff(edges.ticks, prepend=self._last_tick)
        close = deltas < self._hold
        if not close.any():
            return True
        if close[0] or deltas[close].any():
            return False
        together = np.flatnonzero(close)
        involved = np.union1d(together, together - 1)
        places = edges.ticks[involved] * MOST_TRACKS + edges.track[involved]
        return len(np.unique(places)) == len(places)

    def _apart(self, edges: EdgeChunk) -> Ticks:
        """Ticks in which neighbours are equal or at least a shortest hold apart.

        Edges on one tick stay together: a voltage's crossing and how strong it is are such.
        """
        tail = zip(self._tail.track.tolist(), self._tail.ticks.tolist(), strict=True)
        last_of_track = dict(tail)
        last, asked = self._last_tick, None
        apart = []
        for tick, track in zip(edges.ticks.tolist(), edges.track.tolist(), strict=True):
            before = last_of_track.get(track)
            if before is not None and tick - before < self._hold:
                raise self._too_close(track, before, tick)
            last_of_track[track] = tick
            place = last if tick in (last, asked) else max(tick, last + self._hold)
            if place != tick:
                self.moves.add(Move(tick, self._tracks[track], place - tick))
            apart.append(place)
            last, asked = place, tick
        return np.array(apart, np.int64)

    def _too_close(self, track: int, first: int, second: int) -> UsageError:
        return UsageError(
            f"Track '{self._tracks[track]}' changes at pin ticks {first - self._lead} and "
            f"{second - self._lead}; the board needs {self._hold} ticks between them. "
            "Lower the speed, or widen the tooth, pulse or fault that makes them."
        )

    def _masks(self, edges: EdgeChunk) -> Bytes:
        """The output mask (n,) after each edge. Raises UsageError for a pulse that the stage would
        swallow, ValueError if the table sets a level that is there already.
        """
        bits = np.left_shift(np.uint8(1), edges.track)
        masks: Bytes = np.bitwise_xor.accumulate(bits) ^ np.uint8(self._mask)
        pins = (masks & bits) != 0
        wrong = np.flatnonzero(pins != (edges.level ^ self._inverts[edges.track]))
        if len(wrong):
            raise self._overtaken(edges[wrong])
        return masks

    def _overtaken(self, edges: EdgeChunk) -> Exception:
        """Of edges that set the level which is there, two of a track that a stage slower one way
        than the other brings in the wrong order, or the table's own mistake.
        """
        slower = np.abs(np.diff(self._delays, axis=0))[0]
        edges = edges[np.flatnonzero(slower[edges.track])]
        if not len(edges):
            return ValueError("an edge of the table sets the level that its track already has")
        track, tick = int(edges.track[0]), int(edges.ticks[0]) - self._lead
        return UsageError(
            f"Track '{self._tracks[track]}' changes twice by pin tick {tick} in less than the "
            f"{slower[track]} ticks by which its output stage is slower one way than the other, "
            "and would swallow that. Lower the speed, or widen the tooth, pulse or fault that "
            "makes it."
        )

    def _bridged(self, ticks: Ticks, masks: Bytes) -> PinChunk:
        """The transitions, with ones that change nothing where a rest is too long for the wire."""
        deltas = np.diff(ticks, prepend=self._last_tick)
        if int(deltas.max()) <= LONGEST_DELTA:
            return PinChunk(ticks, masks)
        before = np.insert(masks[:-1], 0, self._mask)
        extra = (deltas - 1) // LONGEST_DELTA
        place = np.repeat(np.arange(len(ticks)), extra)
        step = np.arange(len(place)) - np.repeat(np.cumsum(extra) - extra, extra) + 1
        bridge_ticks = ticks[place] - deltas[place] + step * LONGEST_DELTA
        return PinChunk(
            np.insert(ticks, place, bridge_ticks), np.insert(masks, place, before[place])
        )
