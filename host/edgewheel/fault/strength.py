"""How strong the half-waves of a VR sensor's voltage are, as a number on outputs that are spare.

The board makes a half-wave as strong as the number says that these outputs show when it begins
(PROTOCOL.md, section 7). Their edges fall on the crossings of the track, so the stream has no
transition more for them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import Floats
from edgewheel.edges.table import NO_TOOTH, Bytes, EdgeChunk, EdgeHeader, Ticks, join
from edgewheel.fault.draw import key_of
from edgewheel.fault.model import Scene, VoltageFault
from edgewheel.fault.ontrack import shaft_angles
from edgewheel.fault.signal import SignalPlan
from edgewheel.fault.window import Spans
from edgewheel.wheel.model import MOST_TRACKS

_CLOSE_ENOUGH = 1e-6


@dataclass(frozen=True)
class RunOut:
    """Half-waves are 1 + `depth` cos(x) times as high, x from `closest_at` degrees of the shaft."""

    depth: float
    closest_at: Fraction

    def shares(self, shaft_deg: Floats) -> Floats:
        """The strengths (n,) of teeth at angles (n,) of their shaft."""
        turned = np.radians(shaft_deg - float(self.closest_at))
        shares: Floats = 1 + self.depth * np.cos(turned)
        return shares


@dataclass(frozen=True)
class ToothStrengths:
    """The half-waves of a track: each tooth's by its place, or by the last fault that is there."""

    track: int
    run_out: RunOut

    def values(self, levels: LevelTable, weak: Iterable[VoltageFault]) -> Floats:
        """All strengths (n,) that half-waves may have, ascending, as shares of the sensor's own."""
        passage = np.arange(levels.passages[self.track])
        shaft_deg = shaft_angles(levels, self.track, passage)
        tooth = passage % levels.teeth[self.track] + 1
        found = [self.run_out.shares(shaft_deg)]
        for fault in weak:
            teeth = fault.repetition.teeth
            found.append(fault.shares(shaft_deg[np.isin(tooth, teeth)] if teeth else shaft_deg))
        values: Floats = np.unique(np.round(np.concatenate(found), 9))
        return values


@dataclass(frozen=True)
class StrengthLines:
    """The outputs that carry strengths: from `first` on, the lowest bit there.

    `shares` (2^n,) by the number that they form, of the sensor's own strength.
    """

    of: ToothStrengths
    first: int
    shares: tuple[float, ...]

    @property
    def bits(self) -> int:
        """How many outputs."""
        return (len(self.shares) - 1).bit_length()

    @property
    def strongest(self) -> float:
        """The largest share."""
        return max(self.shares)


def strength_lines(of: ToothStrengths, values: Floats, past: int, most_bits: int) -> StrengthLines:
    """The lines of `values` (n,), ascending, at most so many and below output `past`."""
    bits = min(max((len(values) - 1).bit_length(), 1), most_bits)
    shares = nearest_shares(values, 1 << bits)
    shares += shares[-1:] * ((1 << bits) - len(shares))
    return StrengthLines(of, past - bits, tuple(shares))


def open_strength_lines(of: ToothStrengths, values: Floats, past: int, bits: int) -> StrengthLines:
    """The lines of `values` (n,), ascending, that may yet change, so many and below output `past`.

    At most half of the numbers are for the values, the rest is spread evenly from nothing to the
    strongest.
    """
    count = 1 << bits
    known = nearest_shares(values, count // 2)
    spread: list[float] = np.linspace(0, known[-1], count - len(known), endpoint=False).tolist()
    return StrengthLines(of, past - bits, tuple(sorted([*spread, *known])))


def nearest_shares(values: Floats, most: int) -> list[float]:
    """At most so many shares, ascending, from which no value is further away than need be, as a
    share of itself; `values` (n,) ascend, and are the shares if there are no more of them.
    """
    near, far = 0.0, 1.0
    if len(values) <= most:
        far = near
    while far - near > _CLOSE_ENOUGH:
        off = (near + far) / 2
        near, far = (near, off) if len(_cover(values, off)) <= most else (off, far)
    return _cover(values, far)


def _cover(values: Floats, off: float) -> list[float]:
    """The fewest shares of which one is off by at most so much of each value."""
    groups: list[tuple[float, float]] = []
    for value in values.tolist():
        if groups and value * (1 - off) <= groups[-1][0] * (1 + off):
            groups[-1] = groups[-1][0], value
        else:
            groups.append((value, value))
    return [first if first == last else 2 * first * last / (first + last) for first, last in groups]


def with_strengths(
    chunks: Iterable[EdgeChunk], scene: Scene, plan: SignalPlan, lines: StrengthLines
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


def with_strength_lines(header: EdgeHeader, lines: Iterable[StrengthLines]) -> EdgeHeader:
    """The header with all outputs of the board, those of the lines named."""
    names = {
        one.first + bit: f"{header.tracks[one.of.track]} strength, bit {bit}"
        for one in lines
        for bit in range(one.bits)
    }
    added = range(len(header.tracks), MOST_TRACKS)
    return replace(
        header,
        tracks=(*header.tracks, *(names.get(n, f"output {n + 1}") for n in added)),
        initial=(*header.initial, *(0 for _ in added)),
    )


class _Numbers:
    """The numbers on the lines, as the edges of a table come."""

    def __init__(self, scene: Scene, plan: SignalPlan, lines: StrengthLines) -> None:
        self._scene = scene
        self._lines = lines
        self._shares = np.array(lines.shares)
        self._weak = [
            (fault, key_of(plan.seed, name), Spans(fault.window, scene.motion, scene.tick_hz))
            for name, fault in plan.weak_on(lines.of.track).items()
        ]
        (self._nears,) = (vr.nears for vr in scene.levels.vr if vr.track == lines.of.track)
        self._passage = NO_TOOTH
        self._number = 0

    def moves(self, chunk: EdgeChunk) -> EdgeChunk:
        """The edges of the lines that fall on edges of a chunk."""
        if chunk.passage is None:
            return EdgeChunk.empty()
        own = chunk[(chunk.track == self._lines.of.track) & (chunk.passage != NO_TOOTH)]
        if not len(own):
            return own
        numbers = self._numbers(own)
        before = np.concatenate([[self._number], numbers[:-1]])
        self._number = int(numbers[-1])
        return join(*(self._moves(own.ticks, before, numbers, n) for n in range(self._lines.bits)))

    def _moves(self, ticks: Ticks, before: Ticks, after: Ticks, bit: int) -> EdgeChunk:
        moved = (before ^ after) >> bit & 1 == 1
        count = int(moved.sum())
        level: Bytes = (after[moved] >> bit & 1).astype(np.uint8)
        track = np.full(count, self._lines.first + bit, np.uint8)
        return EdgeChunk(ticks[moved], track, level, np.full(count, NO_TOOTH))

    def _numbers(self, own: EdgeChunk) -> Ticks:
        """The numbers (n,) of the half-waves that begin at the edges of the track."""
        teeth = self._teeth(own)
        shaft_deg = shaft_angles(self._scene.levels, self._lines.of.track, teeth)
        shares = self._lines.of.run_out.shares(shaft_deg)
        for fault, key, spans in self._weak:
            there = fault.repetition.chosen(
                self._scene.levels, self._lines.of.track, teeth, key
            ) & spans.inside(own.ticks)
            shares = np.where(there, fault.shares(shaft_deg), shares)
        numbers: Ticks = np.abs(shares[:, None] - self._shares).argmin(axis=1)
        return numbers

    def _teeth(self, own: EdgeChunk) -> Ticks:
        """The passage (n,) of the tooth beside which each half-wave lies.

        Behind a tooth's centre it is that tooth. Behind the middle of a space, which belongs to the
        tooth before it, it is the next one if the wheel turns on, as the edge before tells.
        """
        passage = own.passage
        assert passage is not None
        before = np.concatenate([[self._passage], passage[:-1]])
        self._passage = int(passage[-1])
        onward = (before == passage) | (before == NO_TOOTH)
        in_space = own.level == self._nears
        teeth: Ticks = passage + (in_space & onward)
        return teeth
