"""What a board cannot know of a VR sensor's half-waves, as a number on outputs that are spare.

The number that these outputs show when a half-wave begins says how strong it is and which one of
the wheel's (PROTOCOL.md, section 7). Their edges fall on the crossings of the track, so the stream
has no transition more for them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import Floats
from edgewheel.edges.table import NO_TOOTH, Bytes, EdgeChunk, EdgeHeader, Ticks, join
from edgewheel.fault.crank import Crank
from edgewheel.fault.draw import key_of
from edgewheel.fault.model import Scene
from edgewheel.fault.ontrack import shaft_angles
from edgewheel.fault.signal import SignalPlan
from edgewheel.fault.strength import RunOut
from edgewheel.fault.window import Bools, Spans
from edgewheel.wheel.model import MOST_TRACKS


@dataclass(frozen=True)
class NumberLines:
    """The outputs that carry the numbers of a track's half-waves: from `first` on, the lowest bit
    there.

    A number is the place of the half-wave's length in `lengths_deg` times how many `shares` there
    are, plus the place of its strength in those. Lengths are crank degrees, ascending, none if they
    are not told; shares are of the sensor's own strength, which tooth by tooth is `run_out`'s.
    """

    track: int
    first: int
    shares: tuple[float, ...]
    lengths_deg: tuple[float, ...]
    run_out: RunOut

    @property
    def count(self) -> int:
        """How many numbers mean something."""
        return len(self.shares) * max(len(self.lengths_deg), 1)

    @property
    def bits(self) -> int:
        """How many outputs."""
        return max((self.count - 1).bit_length(), 1)

    @property
    def strongest(self) -> float:
        """The largest share."""
        return max(self.shares)


def with_numbers(
    chunks: Iterable[EdgeChunk], scene: Scene, plan: SignalPlan, lines: NumberLines
) -> Iterator[EdgeChunk]:
    """The edges of a table with those of the lines among them, which belong to no tooth.

    Edges come with their passages; where they have none the lines do not move.
    """
    numbers = _Numbers(scene, plan, lines)
    for chunk in chunks:
        moves = numbers.moves(chunk)
        if not len(moves):
            yield chunk
            continue
        both = join(chunk, moves)
        yield both[np.argsort(both.ticks, kind="stable")]


def with_number_lines(header: EdgeHeader, lines: Iterable[NumberLines]) -> EdgeHeader:
    """The header with all outputs of the board, those of the lines named."""
    outputs = [f"output {number + 1}" for number in range(MOST_TRACKS)]
    tracks = [*header.tracks, *outputs[len(header.tracks) :]]
    for one in lines:
        names = [f"{header.tracks[one.track]} number, bit {bit}" for bit in range(one.bits)]
        tracks[one.first : one.first + one.bits] = names
    added = MOST_TRACKS - len(header.initial)
    return replace(header, tracks=tuple(tracks), initial=(*header.initial, *(0,) * added))


@dataclass(frozen=True)
class _Begun:
    """Half-waves (n,) by the crossing at which they begin: its passage, whether it lies in a space
    between teeth, and whether the wheel turns on there.
    """

    passage: Ticks
    in_space: Bools
    onward: Bools

    @property
    def tooth(self) -> Ticks:
        """The passage of the tooth beside which each lies. Behind a tooth's centre it is that one;
        a space belongs to the tooth before it.
        """
        teeth: Ticks = self.passage + (self.in_space & self.onward)
        return teeth


class _Lengths:
    """How long the half-waves of a track are, in crank degrees, by where they begin."""

    def __init__(self, levels: LevelTable, track: int) -> None:
        (vr,) = (one for one in levels.vr if one.track == track)
        self._passages = levels.passages[track]
        own = np.flatnonzero(np.array(levels.track) == track)
        angles = [levels.angles[place] for place in own]
        after = [*angles[1:], angles[0] + levels.period]
        lengths = np.array([float(b - a) for a, b in zip(angles, after, strict=True)])
        in_space = np.array(levels.level)[own] == vr.nears
        crossing = self._crossing(np.array(levels.passage)[own], in_space)
        self._deg = np.zeros((2, 2 * self._passages))
        self._deg[1, crossing] = lengths
        self._deg[0, crossing] = np.roll(lengths, 1)

    def of(self, begun: _Begun) -> Floats:
        """The lengths (n,) of half-waves."""
        crossing = self._crossing(begun.passage, begun.in_space)
        lengths: Floats = self._deg[begun.onward.astype(np.int64), crossing]
        return lengths

    def _crossing(self, passage: Ticks, in_space: Bools) -> Ticks:
        crossing: Ticks = 2 * (passage % self._passages) + in_space
        return crossing


class _Numbers:
    """The numbers on the lines, as the edges of a table come."""

    def __init__(self, scene: Scene, plan: SignalPlan, lines: NumberLines) -> None:
        self._scene = scene
        self._lines = lines
        self._weak = [
            (fault, key_of(plan.seed, name), Spans(fault.window, scene.motion, scene.tick_hz))
            for name, fault in plan.weak_on(lines.track).items()
        ]
        self._lengths = _Lengths(scene.levels, lines.track) if lines.lengths_deg else None
        (self._nears,) = (vr.nears for vr in scene.levels.vr if vr.track == lines.track)
        self._crank = Crank(scene.motion, scene.tick_hz)
        self._number = 0

    def moves(self, chunk: EdgeChunk) -> EdgeChunk:
        """The edges of the lines that fall on edges of a chunk."""
        if chunk.passage is None:
            return EdgeChunk.empty()
        own = chunk[(chunk.track == self._lines.track) & (chunk.passage != NO_TOOTH)]
        if not len(own):
            return own
        begun = self._begun(own)
        numbers = self._kinds(begun) * len(self._lines.shares) + self._strengths(own.ticks, begun)
        before = np.concatenate([[self._number], numbers[:-1]])
        self._number = int(numbers[-1])
        return join(*(self._moves(own.ticks, before, numbers, n) for n in range(self._lines.bits)))

    def _moves(self, ticks: Ticks, before: Ticks, after: Ticks, bit: int) -> EdgeChunk:
        moved = (before ^ after) >> bit & 1 == 1
        count = int(moved.sum())
        level: Bytes = (after[moved] >> bit & 1).astype(np.uint8)
        track = np.full(count, self._lines.first + bit, np.uint8)
        return EdgeChunk(ticks[moved], track, level, np.full(count, NO_TOOTH))

    def _begun(self, own: EdgeChunk) -> _Begun:
        """The half-waves that begin at the edges of the track."""
        assert own.passage is not None
        return _Begun(own.passage, own.level == self._nears, self._crank.onward(own.ticks))

    def _kinds(self, begun: _Begun) -> Ticks:
        """The places (n,) of the half-waves' lengths."""
        if self._lengths is None:
            return np.zeros(len(begun.passage), np.int64)
        ratios = self._lengths.of(begun)[:, None] / np.array(self._lines.lengths_deg)
        kinds: Ticks = np.abs(ratios - 1).argmin(axis=1)
        return kinds

    def _strengths(self, ticks: Ticks, begun: _Begun) -> Ticks:
        """The places (n,) of the strengths that they have."""
        levels, track, teeth = self._scene.levels, self._lines.track, begun.tooth
        shaft_deg = shaft_angles(levels, track, teeth)
        shares = self._lines.run_out.shares(shaft_deg)
        for fault, key, spans in self._weak:
            there = fault.repetition.chosen(levels, track, teeth, key) & spans.inside(ticks)
            shares = np.where(there, fault.shares(shaft_deg), shares)
        strengths: Ticks = np.abs(shares[:, None] - np.array(self._lines.shares)).argmin(axis=1)
        return strengths
