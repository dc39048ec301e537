"""Flips: a signal that differs from the sound one at stated places and nowhere else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from edgewheel.edges.table import EdgeChunk, EdgeHeader, Ticks
from edgewheel.fault.model import US_PER_S, Changes, Scene, Table
from edgewheel.fault.rewire import Source, Wire, rewire
from edgewheel.fault.window import EVER

APART_NS = 40
"""A flip that ends nearer than this to a sound edge ends there; no board plays less."""

BEFORE_US = Fraction(-1)
"""A flip that begins before table tick 0 is written with this begin."""


@dataclass(frozen=True)
class Flip:
    """From `from_us` to `to_us` after table tick 0, a track has the opposite of its level.

    One whose `from_us` is below 0 begins before the first edge.
    """

    track: str
    from_us: Fraction
    to_us: Fraction

    def ticks(self, tick_hz: int) -> tuple[int, int]:
        """Begin and end in ticks, each rounded once."""
        begin, end = (round(us * tick_hz / US_PER_S) for us in (self.from_us, self.to_us))
        return -EVER if self.from_us < 0 else begin, end


@dataclass(frozen=True)
class Flips:
    """Where the level is the opposite of the sound one, flip by flip.

    So a pulse is added where the sound level is steady, taken away where the sound level is a
    pulse, and an edge is moved from one end to the other where one end is an edge. Flips of a track
    that meet or overlap are one. Any signal is the sound one with flips; `shrink` writes what it
    finds so. It reaches no other edge.
    """

    flips: tuple[Flip, ...]

    def apply(
        self, scene: Scene, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Table:
        """The table with the flips."""
        tracks = sorted({header.tracks.index(flip.track) for flip in self.flips})
        wires = tuple(
            Wire(number, Source("inverse"), self._stretches(header.tracks[number], scene))
            for number in tracks
        )
        end_tick = round(scene.motion.end_s * scene.tick_hz)
        apart = max(APART_NS * scene.tick_hz // 1_000_000_000, 1)
        return rewire(wires, header, chunks, changes, apart, end_tick)

    def _stretches(self, track: str, scene: Scene) -> _Listed:
        begins: list[int] = []
        ends: list[int] = []
        for begin, end in sorted(f.ticks(scene.tick_hz) for f in self.flips if f.track == track):
            if ends and begin <= ends[-1]:
                ends[-1] = max(ends[-1], end)
            else:
                begins.append(begin)
                ends.append(end)
        return _Listed(np.array(begins, np.int64), np.array(ends, np.int64))


@dataclass(frozen=True, eq=False)
class _Listed:
    """Stretches that are known from the start."""

    begins: Ticks
    ends: Ticks

    def until(self, chunk: EdgeChunk, tick: int) -> tuple[Ticks, Ticks]:
        return self.begins, self.ends
