"""Faults of whole lines: polarity swapped, tracks swapped, a sensor that is gone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Literal

from edgewheel.edges.table import EdgeChunk, EdgeHeader
from edgewheel.fault.fields import TrackName
from edgewheel.fault.model import Changes, Complaint, Scene, Table
from edgewheel.fault.rewire import Source, WindowStretches, Wire, rewire
from edgewheel.fault.window import ALWAYS, Spans, Window

Shows = Literal["high", "low", "held"]
"""What a dead line shows: a fixed level, or the one that it had when it died."""


def source_of(shows: Shows) -> Source:
    return Source("held") if shows == "held" else Source("level", int(shows == "high"))


@dataclass(frozen=True)
class Polarity:
    """While the window is open, the pin shows the opposite level.

    Of a Hall sensor wired or set the wrong way round: every edge goes the other way, so a
    controller that answers rising edges sees the other side of each tooth. Edges come at the
    window's borders. A VR sensor's swapped leads are `leads_reversed`. It reaches no other edge.
    """

    track: Annotated[str, TrackName()]
    window: Window = ALWAYS

    def apply(
        self, scene: Scene, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Table:
        """The table with the track inverted."""
        stretches = window_stretches(self.window, scene)
        wire = Wire(header.tracks.index(self.track), Source("inverse"), stretches)
        return rewired_in(scene, (wire,), header, chunks, changes)


@dataclass(frozen=True)
class SwappedTracks:
    """While the window is open, each of two pins shows the other's signal.

    Of plugs or wires mixed up. Edges come at the window's borders where the levels differ. It
    reaches no other edge.
    """

    track: Annotated[str, TrackName()]
    other: Annotated[str, TrackName()]
    window: Window = ALWAYS

    def complaint(self) -> Complaint | None:
        """What is wrong with these names together."""
        if self.track == self.other:
            return "a track cannot be swapped with itself", "Name two tracks."
        return None

    def apply(
        self, scene: Scene, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Table:
        """The table with the tracks swapped."""
        one, other = header.tracks.index(self.track), header.tracks.index(self.other)
        stretches = window_stretches(self.window, scene)
        wires = (
            Wire(one, Source("track", other), stretches),
            Wire(other, Source("track", one), stretches),
        )
        return rewired_in(scene, wires, header, chunks, changes)


@dataclass(frozen=True)
class LostTrack:
    """While the window is open, the pin shows nothing: `shows` high, low, or the level it had.

    Of a dead sensor, a broken wire, a cam that no longer turns. At the window's end it is back at
    once. It reaches no other edge.
    """

    track: Annotated[str, TrackName()]
    shows: Shows = "held"
    window: Window = ALWAYS

    def apply(
        self, scene: Scene, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Table:
        """The table without the track's edges."""
        stretches = window_stretches(self.window, scene)
        wire = Wire(header.tracks.index(self.track), source_of(self.shows), stretches)
        return rewired_in(scene, (wire,), header, chunks, changes)


def window_stretches(window: Window, scene: Scene) -> WindowStretches:
    return WindowStretches(Spans(window, scene.motion, scene.tick_hz))


def rewired_in(
    scene: Scene,
    wires: tuple[Wire, ...],
    header: EdgeHeader,
    chunks: Iterable[EdgeChunk],
    changes: Changes,
) -> Table:
    """`rewire` with the shortest distance and the end of a scene."""
    end_tick = round(scene.motion.end_s * scene.tick_hz)
    return rewire(wires, header, chunks, changes, scene.shortest_ticks, end_tick)
