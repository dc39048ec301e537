"""From a signal that changes to the transitions of a live course, begun where the last one left.

Up to the border the new signal is the old one, edge by edge, so what has been played is its
beginning. From there on a line goes to the level that the new signal has, if it stands elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from edgewheel.bench.live.course import seconds_before
from edgewheel.bench.live.faults import REACH_S
from edgewheel.edges.pins import PinMaker
from edgewheel.edges.stage import OutputStage
from edgewheel.edges.table import NO_TOOTH, EdgeChunk, EdgeHeader, PinChunk, join
from edgewheel.fault.numbers import NumberLines
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.signal import SignalPlan
from edgewheel.fault.window import EVER, Bools

CHUNK_EDGES = 512
"""Small, for a change of course waits until its first chunk is made."""

WARM_UP_DEG = Fraction(1440)
"""The faults see so much of the signal before the border, or `REACH_S` if that is less."""

MOST_SILENT = 32
"""Chunks of the wheel's edges of which faults leave none: a line that is lost stays so, and there
would be nothing to play until the motion ends, in days. The next change of course reads anew.
"""

SIGN_OF_LIFE_MS = 250
"""A board is never without a next transition; at standstill such as change nothing are sent."""


@dataclass(frozen=True)
class PinLimits:
    """What the board and the stage before the controller ask of a pin table.

    `lead_ticks` is the run tick of table tick 0; `lines` tell what half-waves of voltages are.
    """

    tick_hz: int
    stage: OutputStage
    lead_ticks: int
    shortest_hold_ticks: int
    lines: tuple[NumberLines, ...] = ()

    @property
    def apart_ticks(self) -> int:
        """Edges of a track at least so far apart stay so on the board."""
        return self.shortest_hold_ticks + 2 * self.stage.longest_ticks

    def levels(self, mask: int) -> tuple[int, ...]:
        """The levels at the connector that a mask of the board gives."""
        inverts = enumerate(self.stage.inverts)
        return tuple((mask >> track & 1) ^ inverted for track, inverted in inverts)


@dataclass(frozen=True)
class Section:
    """A signal that is in force from a table tick on."""

    signal: SignalPlan
    begin_tick: int


@dataclass(frozen=True)
class Handover:
    """What the pins have done: the run tick of the last transition that stays, and its levels."""

    after_tick: int
    levels: tuple[int, ...]


class LiveSource:
    """The transitions of a course: its first section from a handover on, the others after it."""

    def __init__(
        self, sections: list[Section], limits: PinLimits, handover: Handover | None
    ) -> None:
        self.pipelines = [
            Pipeline(section.signal, limits.tick_hz, limits.lines) for section in sections
        ]
        self._sections = sections
        self._limits = limits
        self._handover = handover
        first, _ = self.pipelines[0].played()
        levels = handover.levels if handover else first.initial
        header = EdgeHeader(limits.tick_hz, first.tracks, levels)
        after_tick = handover.after_tick if handover else 0
        self.pins = PinMaker(
            header, limits.stage, limits.lead_ticks, limits.shortest_hold_ticks, after_tick
        )
        self._levels = list(levels)
        self._last = (after_tick, limits.stage.pin_mask(levels))

    @property
    def signal(self) -> SignalPlan:
        """The signal in force at its beginning."""
        return self._sections[0].signal

    def chunks(self) -> Iterator[PinChunk]:
        """The transitions; they never end."""
        for chunk in self.pins.chunks(self._edges()):
            self._last = int(chunk.ticks[-1]), int(chunk.masks[-1])
            yield chunk
        yield from self._signs_of_life()

    def _signs_of_life(self) -> Iterator[PinChunk]:
        step = SIGN_OF_LIFE_MS * self._limits.tick_hz // 1000
        tick, mask = self._last
        while True:
            tick += step
            yield PinChunk(np.array([tick], np.int64), np.array([mask], np.uint8))

    def _edges(self) -> Iterator[EdgeChunk]:
        ends = [section.begin_tick for section in self._sections[1:]]
        for number, end in enumerate([*ends, EVER]):
            for chunk in self._section(number):
                mine = chunk[: int(np.searchsorted(chunk.ticks, end))]
                self._note(mine)
                yield mine
                if len(mine) < len(chunk):
                    break

    def _note(self, chunk: EdgeChunk) -> None:
        for track in range(len(self._levels)):
            own = chunk.level[chunk.track == track]
            if len(own):
                self._levels[track] = int(own[-1])

    def _section(self, number: int) -> Iterator[EdgeChunk]:
        """The edges of a section, the first of them those that bring the lines to its levels."""
        begin = self._sections[number].begin_tick
        header, chunks = self._read(number)
        if number == 0 and self._handover is None:
            yield from chunks
            return
        levels, early, late = list(header.initial), EdgeChunk.empty(), EdgeChunk.empty()
        border = begin + self._limits.apart_ticks
        for chunk in chunks:
            late = join(late, chunk)
            if len(chunk) and int(chunk.ticks[-1]) > border:
                break
        is_late = self._is_late(number, late)
        early, late = late[~is_late], late[is_late]
        for track in range(len(levels)):
            own = early.level[early.track == track]
            levels[track] = int(own[-1]) if len(own) else levels[track]
        yield self._joined(levels, late, begin)
        yield from chunks

    def _read(self, number: int) -> tuple[EdgeHeader, Iterator[EdgeChunk]]:
        section, tick_hz = self._sections[number], self._limits.tick_hz
        motion = section.signal.motion
        begin_s = Fraction(section.begin_tick, tick_hz)
        from_s = seconds_before(motion, begin_s, WARM_UP_DEG, REACH_S, tick_hz)
        header, chunks = self.pipelines[number].played(from_s, CHUNK_EDGES)
        return header, _until_silent(chunks)

    def _is_late(self, number: int, chunk: EdgeChunk) -> Bools:
        """Which edges (n,) belong behind the border."""
        late: Bools
        if number == 0 and self._handover is not None:
            late = self.pins.pin_ticks(chunk) > self._handover.after_tick
        else:
            late = chunk.ticks >= self._sections[number].begin_tick
        return late

    def _joined(self, levels: list[int], late: EdgeChunk, begin: int) -> EdgeChunk:
        """The late edges, with the edge at the border that a line needs, or without the one that
        comes so soon after it that the line is already there.
        """
        parts = []
        keep = np.ones(len(late), np.bool_)
        for track, (is_at, wanted) in enumerate(zip(self._levels, levels, strict=True)):
            if is_at == wanted:
                continue
            own = np.flatnonzero(late.track == track)
            if len(own) and int(late.ticks[own[0]]) < begin + self._limits.apart_ticks:
                keep[own[0]] = False
            else:
                parts.append(_edge(begin, track, wanted))
        joined = join(*parts, late[keep])
        return joined[np.argsort(joined.ticks, kind="stable")]


def _until_silent(chunks: Iterator[EdgeChunk]) -> Iterator[EdgeChunk]:
    """The chunks, up to where `MOST_SILENT` in a row have no edge."""
    silent = 0
    for chunk in chunks:
        silent = 0 if len(chunk) else silent + 1
        if silent == MOST_SILENT:
            return
        yield chunk


def _edge(tick: int, track: int, level: int) -> EdgeChunk:
    return EdgeChunk(
        np.array([tick], np.int64),
        np.array([track], np.uint8),
        np.array([level], np.uint8),
        np.array([NO_TOOTH]),
    )
