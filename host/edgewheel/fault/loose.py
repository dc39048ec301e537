"""Loose connection: a contact that opens for moments."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

import numpy as np

from edgewheel.edges.table import EdgeChunk, EdgeHeader, Ticks
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.lines import Shows, rewired_in, source_of
from edgewheel.fault.model import Changes, Complaint, Scene, Table
from edgewheel.fault.ontrack import first_level
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.rewire import Wire
from edgewheel.fault.slots import Slots
from edgewheel.fault.window import ALWAYS, Spans, Window

LONGEST_MS = 100_000
MOST_PER_S = 10_000


@dataclass(frozen=True)
class LooseConnection:
    """The contact opens for `lasts_ms`; meanwhile the pin is `shows`: high, low, or held.

    With `breaks_per_s` it opens so often on average: once in every 1 / breaks_per_s seconds, at a
    moment drawn by (seed, fault, count). Without, it opens as each tooth of the repetition begins.
    The window counts at the moment at which it opens. Openings that meet are one. It reaches as far
    as an opening lasts.
    """

    track: Annotated[str, TrackName()]
    lasts_ms: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_MS)]
    breaks_per_s: Annotated[Fraction, Bounds(0, MOST_PER_S)] = Fraction(0)
    shows: Shows = "held"
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def complaint(self) -> Complaint | None:
        """What is wrong with these numbers together."""
        by_tooth = self.repetition != EACH
        if by_tooth == (self.breaks_per_s > 0):
            remedy = "Write breaks_per_s, or the teeth, every or chance at which it opens."
            return "when the contact opens is not clear", remedy
        if self.breaks_per_s * self.lasts_ms >= 1000:
            return "the contact would never close", "Write fewer breaks_per_s or less lasts_ms."
        return None

    def apply(
        self, scene: Scene, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Table:
        """The table as it comes through the contact."""
        track = header.tracks.index(self.track)
        wire = Wire(track, source_of(self.shows), _Openings(self, scene, track))
        return rewired_in(scene, (wire,), header, chunks, changes)


class _Openings:
    """When the contact is open, as far as the signal has come."""

    def __init__(self, fault: LooseConnection, scene: Scene, track: int) -> None:
        self._fault = fault
        self._scene = scene
        self._track = track
        self._lasts = max(scene.us_ticks(fault.lasts_ms * 1000), 1)
        self._spans = Spans(fault.window, scene.motion, scene.tick_hz)
        rate = fault.breaks_per_s
        self._slots = (
            Slots(scene.key, rate, scene.tick_hz, self._lasts, scene.begin_tick) if rate else None
        )
        self._begins: list[int] = []
        self._ends: list[int] = []

    def until(self, chunk: EdgeChunk, tick: int) -> tuple[Ticks, Ticks]:
        """All openings that begin before a tick."""
        starts = self._slots.before(tick)[1] if self._slots else self._teeth(chunk)
        for start in starts[self._spans.inside(starts)].tolist():
            if self._ends and start <= self._ends[-1]:
                self._ends[-1] = max(self._ends[-1], start + self._lasts)
            else:
                self._begins.append(start)
                self._ends.append(start + self._lasts)
        return np.array(self._begins, np.int64), np.array(self._ends, np.int64)

    def _teeth(self, chunk: EdgeChunk) -> Ticks:
        """Ticks at which a chosen tooth begins."""
        if chunk.passage is None:
            return np.empty(0, np.int64)
        first = (chunk.track == self._track) & (
            chunk.level == first_level(self._scene, self._track)
        )
        edges = chunk[first]
        assert edges.passage is not None
        fault, scene = self._fault, self._scene
        chosen = fault.repetition.chosen(scene.levels, self._track, edges.passage, scene.key)
        return edges.ticks[chosen]
