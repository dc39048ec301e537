"""Period ratios under a motion: how far a wheel's gap stands out when the engine does not turn
evenly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable, wheel_levels
from edgewheel.edges.moved import MovedCourse
from edgewheel.edges.phase import BLOCK_EDGES, Floats, PhaseTables
from edgewheel.edges.stream import EdgeStream, Piece
from edgewheel.edges.stretch import Course, FixedCourse
from edgewheel.edges.table import Ticks
from edgewheel.errors import UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.model import Track, Wheel
from edgewheel.wheel.pins import EdgeChoice, pin_edges
from edgewheel.wheel.ratios import Kind, period_ratios
from edgewheel.wheel.safe import safe_edge

TICK_HZ = 1_000_000_000
"""Ratios are taken from edges to the nanosecond."""

KINDS: tuple[Kind, ...] = ("ordinary", "gap", "after a gap", "irregular")
_BEFORE = 2
"""Edges before one that its ratio needs."""


@dataclass(frozen=True)
class Extreme:
    """A ratio, the tooth at whose edge it is reached, and the seconds from the motion's start."""

    ratio: float
    tooth: int
    seconds: float


@dataclass(frozen=True)
class KindRange:
    """The least and the greatest ratio of one kind, among `count`."""

    kind: Kind
    count: int
    least: Extreme
    greatest: Extreme


@dataclass(frozen=True)
class MotionRatios:
    """Period ratios of a track's `edge` under a motion, as a controller compares them.

    `ranges` are those kinds that occur. `edges_lost` of `edges` on the track are too weak to be
    seen by a VR sensor's input; the ratios are those of a sensor that loses none. `shortest_s` is
    the shortest of the periods.
    """

    track: str
    edge: EdgeChoice
    ranges: tuple[KindRange, ...]
    edges: int
    edges_lost: int
    shortest_s: float

    def of(self, kind: Kind) -> KindRange | None:
        """The range of a kind, None if it does not occur."""
        return next((one for one in self.ranges if one.kind == kind), None)

    @property
    def least(self) -> Extreme:
        """The least ratio of all."""
        return min((one.least for one in self.ranges), key=lambda one: one.ratio)

    @property
    def greatest_other(self) -> Extreme | None:
        """The greatest ratio that is not the gap's: a limit below it takes a tooth for the gap."""
        others = [one.greatest for one in self.ranges if one.kind != "gap"]
        return max(others, key=lambda one: one.ratio, default=None)

    @property
    def margin(self) -> float | None:
        """The gap's least ratio over the greatest other one; above 1, every gap can be told.

        None where either does not occur.
        """
        gap, other = self.of("gap"), self.greatest_other
        return gap.least.ratio / other.ratio if gap and other else None

    @property
    def best_limit(self) -> float | None:
        """The limit that is as far, as a factor, from both; None if none tells them apart."""
        gap, other = self.of("gap"), self.greatest_other
        if gap is None or other is None or gap.least.ratio <= other.ratio:
            return None
        return math.sqrt(gap.least.ratio * other.ratio)


def motion_ratios(wheel: Wheel, motion: Motion, least_rpm: float = 0.0) -> MotionRatios:
    """The ratios of the busiest track at its safe edge, of three edges in a row, turned forward.

    A standstill or a turn back begins anew; ratios whose earlier period is slower than `least_rpm`
    do not count. Raises UsageError if there are not three such edges.
    """
    track = main_track(wheel)
    edge = safe_edge(track, wheel.period).edge or "rise"
    levels = _edges_alone(track, wheel.period, edge)
    ratios = period_ratios(track, wheel.period, edge)
    kinds = np.array([KINDS.index(one.kind) for one in ratios])
    spans_deg = np.array([float(one.angles[1] - one.angles[0]) for one in ratios])
    tally = _Tally([one.tooth for one in ratios], kinds, _longest_ticks(spans_deg, least_rpm))
    stream = EdgeStream(levels, _course(track, levels, motion), TICK_HZ)
    for piece in stream.pieces(Fraction(0), None, BLOCK_EDGES):
        tally.add(piece)
    ranges = tally.ranges()
    if not ranges:
        raise UsageError(
            f"Under this motion track '{track.name}' does not pass three edges in a row. "
            "Turn the engine further."
        )
    edges, lost = _lost(wheel, track, motion)
    shortest_s = tally.shortest_ticks / TICK_HZ
    return MotionRatios(track.name, edge, ranges, edges, lost, shortest_s)


def _longest_ticks(spans_deg: Floats, least_rpm: float) -> Floats:
    """How long the earlier period of each ratio (n,) may last at the least speed."""
    if not least_rpm:
        return np.full(len(spans_deg), np.inf)
    longest: Floats = spans_deg / (DEG_PER_S_PER_RPM * least_rpm) * TICK_HZ
    return longest


class _Tally:
    """The extremes of each kind, as pieces come in."""

    def __init__(
        self, teeth: list[int], kinds: npt.NDArray[np.int64], longest_ticks: Floats
    ) -> None:
        self._teeth = teeth
        self._kinds = kinds
        self._longest_ticks = longest_ticks
        self.shortest_ticks = math.inf
        self._ticks: Ticks = np.zeros(0, np.int64)
        self._found: dict[Kind, KindRange] = {}

    def add(self, piece: Piece) -> None:
        """Take the next piece."""
        if piece.stretch.direction <= 0:
            self._ticks = self._ticks[:0]
            return
        before = len(self._ticks)
        ticks = np.concatenate([self._ticks, piece.chunk.ticks])
        self._ticks = ticks[-_BEFORE:]
        if len(ticks) <= _BEFORE:
            return
        periods = np.diff(ticks).astype(np.float64)
        ratios: Floats = periods[1:] / periods[:-1]
        columns = np.arange(piece.low - before + _BEFORE, piece.high) % len(self._teeth)
        counts = periods[:-1] <= self._longest_ticks[columns]
        if counts.any():
            self.shortest_ticks = min(self.shortest_ticks, float(periods[1:][counts].min()))
        for number, kind in enumerate(KINDS):
            own = np.flatnonzero(counts & (self._kinds[columns] == number))
            if len(own):
                self._enter(kind, ratios[own], columns[own], ticks[_BEFORE:][own])

    def ranges(self) -> tuple[KindRange, ...]:
        """The kinds that occurred."""
        return tuple(self._found[kind] for kind in KINDS if kind in self._found)

    def _enter(self, kind: Kind, ratios: Floats, columns: Ticks, ticks: Ticks) -> None:
        ends = (int(np.argmin(ratios)), int(np.argmax(ratios)))
        least, greatest = (
            Extreme(float(ratios[at]), self._teeth[columns[at]], float(ticks[at]) / TICK_HZ)
            for at in ends
        )
        count = len(ratios)
        known = self._found.get(kind)
        if known is not None:
            count += known.count
            least = min(known.least, least, key=lambda one: one.ratio)
            greatest = max(known.greatest, greatest, key=lambda one: one.ratio)
        self._found[kind] = KindRange(kind, count, least, greatest)


def _edges_alone(track: Track, period: int, edge: EdgeChoice) -> LevelTable:
    """A level table of one track's chosen edges, numbered like its period ratios."""
    edges = pin_edges(track, period, edge)
    ones = (1,) * len(edges)
    angles = tuple(one.angle for one in edges)
    return LevelTable(period, (track.name,), angles, (0,) * len(edges), ones, (0,))


def _course(track: Track, levels: LevelTable, motion: Motion) -> Course:
    phases = PhaseTables(levels)
    timing = motion.cams.get(track.name)
    if timing is None:
        return FixedCourse(phases, motion, TICK_HZ)
    return MovedCourse(track.name, timing, phases, motion, TICK_HZ)


def _lost(wheel: Wheel, track: Track, motion: Motion) -> tuple[int, int]:
    """Edges of a track under a motion, and how many of them a VR sensor's input does not see."""
    number = wheel.tracks.index(track)
    levels = wheel_levels(wheel)
    seen = _count(levels, number, motion)
    if track.sensor.amplitude is None:
        return seen, 0
    strong = levels.without_amplitudes()
    edges = _count(strong, number, motion)
    return edges, edges - seen


def _count(levels: LevelTable, track: int, motion: Motion) -> int:
    chunks = EdgeCompiler(levels, motion, TICK_HZ).chunks()
    return sum(int(np.count_nonzero(chunk.track == track)) for chunk in chunks)
