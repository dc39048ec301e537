"""Noise: short pulses that get into the lines, from the ignition or from anywhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Annotated, Protocol

import numpy as np

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import PhaseTables
from edgewheel.edges.reorder import Reorder
from edgewheel.edges.stream import EdgeStream
from edgewheel.edges.stretch import FixedCourse
from edgewheel.edges.table import NO_TOOTH, EdgeChunk, EdgeHeader, Ticks, join
from edgewheel.fault.bounce import LONGEST_US, MOST_PULSES
from edgewheel.fault.draw import uniform
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.model import Changes, Complaint, Kind, Scene, Table
from edgewheel.fault.slots import Slots
from edgewheel.fault.window import ALWAYS, EVER, Spans, Window
from edgewheel.motion.motion import Motion

MOST_PER_S = 100_000
CYCLE_DEG = 720
MARKS_A_CHUNK = 256


@dataclass(frozen=True)
class Noise:
    """Bursts of `pulses` pulses, each `width_us` of the opposite level, `gap_us` between them.

    With `bursts_per_s`, one burst begins in every 1 / bursts_per_s seconds, at a moment drawn by
    (seed, fault, count). With `ignition_deg`, one begins `delay_us` after every cylinder's nominal
    ignition, so many crank degrees before its firing TDC. Of the bursts each `every`-th is there,
    and of those each with probability `chance`. All of `tracks` get the same pulses. A pulse that
    would overlap an edge of its track is left out there, and so is a burst that would begin before
    the last one has ended. It reaches as far as a burst is long.
    """

    tracks: Annotated[tuple[str, ...], TrackName()]
    width_us: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_US)]
    bursts_per_s: Annotated[Fraction, Bounds(0, MOST_PER_S)] = Fraction(0)
    ignition_deg: Annotated[Fraction | None, Bounds(-90, 90)] = None
    delay_us: Annotated[Fraction, Bounds(0, LONGEST_US)] = Fraction(0)
    pulses: Annotated[int, Bounds(1, MOST_PULSES)] = 1
    gap_us: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_US)] = Fraction(10)
    every: Annotated[int, Bounds(1, 10**6)] = 1
    chance: Annotated[Fraction, Bounds(above=0, maximum=1)] = Fraction(1)
    window: Window = ALWAYS

    def complaint(self) -> Complaint | None:
        """What is wrong with these numbers together."""
        if (self.bursts_per_s > 0) == (self.ignition_deg is not None):
            remedy = "Write exactly one of bursts_per_s, above 0, and ignition_deg."
            return "when the noise comes is not clear", remedy
        if self.bursts_per_s * self.burst_us >= 1_000_000:
            return "the bursts would overlap", "Write fewer bursts_per_s or shorter bursts."
        return None

    @property
    def burst_us(self) -> Fraction:
        """From the first pulse's begin to the last one's end."""
        return self.pulses * (self.width_us + self.gap_us) - self.gap_us

    def apply(
        self, scene: Scene, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Table:
        """The table with the pulses added."""
        return header, _noisy(_Work(self, scene, header, changes), chunks)


class _Bursts(Protocol):
    def before(self, tick: int) -> tuple[Ticks, Ticks]:
        """Numbers and ticks (n,) of the bursts that begin before a tick, once each."""


class _Ignitions:
    """The nominal ignitions of a motion, compiled as the edges of a wheel that has nothing else.

    Those whose burst has ended before the scene begins are counted, not compiled.
    """

    def __init__(
        self, scene: Scene, before_tdc_deg: Fraction, delay_us: Fraction, length_ticks: int
    ) -> None:
        angles = tuple(sorted({(tdc - before_tdc_deg) % CYCLE_DEG for tdc in scene.tdc_deg}))
        nothing = (0,) * len(angles)
        marks = LevelTable(CYCLE_DEG, ("ignition",), angles, nothing, nothing, (0,))
        course = FixedCourse(PhaseTables(marks), scene.motion, scene.tick_hz)
        stream = EdgeStream(marks, course, scene.tick_hz)
        self._delay = scene.us_ticks(delay_us)
        begin_tick = max(scene.begin_tick - self._delay - length_ticks, 0)
        begin_s = Fraction(begin_tick, scene.tick_hz)
        self._chunks = stream.chunks(begin_s, None, chunk_edges=MARKS_A_CHUNK)
        self._known = np.empty(0, np.int64)
        self._count = stream.passed(begin_s)

    def before(self, tick: int) -> tuple[Ticks, Ticks]:
        while not len(self._known) or self._known[-1] < tick:
            chunk = next(self._chunks, None)
            if chunk is None:
                break
            self._known = np.concatenate([self._known, chunk.ticks + self._delay])
        cut = int(np.searchsorted(self._known, tick))
        numbers = np.arange(self._count, self._count + cut, dtype=np.int64)
        ticks, self._known = self._known[:cut], self._known[cut:]
        self._count += cut
        return numbers, ticks


@dataclass
class _Lane:
    """What noise has to know of one track: its last edges and its level before them."""

    name: str
    track: int
    level: int
    edges: EdgeChunk = field(default_factory=EdgeChunk.empty)

    def take(self, edges: EdgeChunk, from_tick: int) -> None:
        """Add edges, and forget those before a tick."""
        known = join(self.edges, edges)
        old = int(np.searchsorted(known.ticks, from_tick))
        if old:
            self.level = int(known.level[old - 1])
        self.edges = known[old:]

    def pulses(self, starts: Ticks, width: int, margin: int) -> tuple[EdgeChunk, EdgeChunk]:
        """The pulses that overlap no edge."""
        first = np.searchsorted(self.edges.ticks, starts - margin)
        following = np.append(self.edges.ticks, EVER)[first]
        fits = following >= starts + width + margin
        levels = np.concatenate([[self.level], self.edges.level])[first][fits].astype(np.uint8)
        track = np.full(len(levels), self.track, np.uint8)
        nobody = np.full(len(levels), NO_TOOTH)
        begin = EdgeChunk(starts[fits], track, 1 - levels, nobody)
        return begin, EdgeChunk(starts[fits] + width, track, levels, nobody)


def _noisy(work: _Work, chunks: Iterable[EdgeChunk]) -> Iterator[EdgeChunk]:
    for chunk in chunks:
        yield work.take(chunk, int(chunk.ticks[-1])) if len(chunk) else chunk
    yield work.rest()


class _Work:
    """The fault at work on one table."""

    def __init__(self, fault: Noise, scene: Scene, header: EdgeHeader, changes: Changes) -> None:
        self._fault = fault
        self._key = scene.key
        self._changes = changes
        self._spans = Spans(fault.window, scene.motion, scene.tick_hz)
        self._motion: Motion = scene.motion
        self._tick_hz = scene.tick_hz
        self._width = max(scene.us_ticks(fault.width_us), 1)
        self._step = self._width + max(scene.us_ticks(fault.gap_us), 1)
        self._margin = scene.shortest_ticks
        self._bursts = self._bursts_of(scene)
        numbers = [header.tracks.index(name) for name in fault.tracks]
        self._lanes = [_Lane(header.tracks[n], n, header.initial[n]) for n in numbers]
        self._order = Reorder()
        self._waiting = np.empty(0, np.int64)
        self._free = -EVER

    def take(self, chunk: EdgeChunk, latest: int) -> EdgeChunk:
        """Add a chunk; returns the edges that nothing can come before any more."""
        self._order.push(chunk)
        self._waiting = np.concatenate([self._waiting, self._pulses(latest)])
        certain = int(np.searchsorted(self._waiting, latest - self._width - self._margin))
        starts, self._waiting = self._waiting[:certain], self._waiting[certain:]
        safe = min([latest, *self._waiting[:1].tolist()])
        for lane in self._lanes:
            lane.edges = join(lane.edges, chunk[chunk.track == lane.track])
            for part in lane.pulses(starts, self._width, self._margin):
                self._changes.add(Kind.ADDED, lane.name, part)
                self._order.push(part)
            lane.take(EdgeChunk.empty(), safe - self._margin)
        return self._order.release(safe)

    def rest(self) -> EdgeChunk:
        """What is left when no edge follows: pulses until the motion ends."""
        end = round(self._motion.end_s * self._tick_hz)
        self._waiting = np.concatenate([self._waiting, self._pulses(end)])
        self._waiting = self._waiting[self._waiting + self._width <= end]
        released = self.take(EdgeChunk.empty(), end + self._width + self._margin + 1)
        return join(released, self._order.release())

    def _bursts_of(self, scene: Scene) -> _Bursts:
        fault = self._fault
        length = fault.pulses * self._step
        if fault.ignition_deg is not None:
            return _Ignitions(scene, fault.ignition_deg, fault.delay_us, length)
        return Slots(scene.key, fault.bursts_per_s, scene.tick_hz, length, scene.begin_tick)

    def _pulses(self, tick: int) -> Ticks:
        """Begins of the pulses of all bursts that begin before a tick."""
        numbers, starts = self._bursts.before(tick)
        there = self._spans.inside(starts) & ((numbers + 1) % self._fault.every == 0)
        there &= uniform(self._key ^ 1, numbers) < float(self._fault.chance)
        pulses: list[int] = []
        for start in starts[there].tolist():
            if start >= self._free:
                pulses += [start + n * self._step for n in range(self._fault.pulses)]
                self._free = pulses[-1] + self._width + self._margin
        return np.array(pulses, np.int64)
