"""What every kind of capture becomes: an edge table, and what was found in the file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO

import numpy as np

from edgewheel.edges.export import write_csv
from edgewheel.edges.table import EdgeChunk, EdgeHeader, join
from edgewheel.errors import FileError, Place

LONGEST_NAME = 24


@dataclass(frozen=True)
class Capture:
    """Edges that were measured, not computed.

    `found` are sentences on how the file was read. A track in `widthless` has true edges of one
    direction only, `real_level`; the others were drawn in between, so that the table is one.
    `end_tick` is when the capture ended. `resolution_s` is the step of the clock or between two
    samples, 0 if it is that of the ticks or not known.
    """

    name: str
    header: EdgeHeader
    edges: EdgeChunk
    end_tick: int
    found: tuple[str, ...] = ()
    widthless: tuple[str, ...] = ()
    real_level: int = 1
    resolution_s: float = 0.0

    def with_one_edge(self, track: str, level: int) -> Capture:
        """The same capture of which only a track's edges to one level were measured."""
        return replace(self, widthless=(track,), real_level=level)

    def renamed(self, names: Mapping[str, str]) -> Capture:
        """The same capture with some of its tracks under other names."""
        tracks = tuple(names.get(track, track) for track in self.header.tracks)
        widthless = tuple(names.get(track, track) for track in self.widthless)
        return replace(self, header=replace(self.header, tracks=tracks), widthless=widthless)

    @property
    def seconds(self) -> float:
        """How long it lasted."""
        return self.end_tick / self.header.tick_hz


def table_of(
    path: Path,
    tick_hz: int,
    names: Sequence[str],
    chunks: Iterable[EdgeChunk],
    found: Sequence[str],
    resolution_s: float = 0.0,
) -> Capture:
    """A capture of these edges, put in order; what sets a level that is there already is no edge.

    Raises FileError where nothing changes: then there is no signal to work with.
    """
    edges = _in_order(join(*chunks))
    edges = edges_only(edges)
    if len(edges) < 2:
        raise FileError(
            Place(str(path)),
            f"no signal in it changes; there is {_listed(names)}",
            "Choose another column or threshold, or check the wiring of the capture.",
        )
    initial = []
    for track in range(len(names)):
        own = edges.level[edges.track == track]
        initial.append(1 - int(own[0]) if len(own) else 0)
    header = EdgeHeader(tick_hz, tuple(names), tuple(initial))
    end_tick = int(edges.ticks[-1])
    return Capture(path.name, header, edges, end_tick, tuple(found), resolution_s=resolution_s)


def _in_order(edges: EdgeChunk) -> EdgeChunk:
    """Edges by tick, from tick 0 on if they began before."""
    if not len(edges):
        return edges
    ticks = edges.ticks - min(int(edges.ticks.min()), 0)
    if bool(np.all(ticks[1:] >= ticks[:-1])):
        return EdgeChunk(ticks, edges.track, edges.level)
    order = np.lexsort((edges.track, ticks))
    return EdgeChunk(ticks[order], edges.track[order], edges.level[order])


def edges_only(edges: EdgeChunk) -> EdgeChunk:
    """The rows that change a track's level; the first row of a track does."""
    keep = np.ones(len(edges), np.bool_)
    for track in np.unique(edges.track):
        own = np.flatnonzero(edges.track == track)
        levels = edges.level[own]
        keep[own[1:]] = levels[1:] != levels[:-1]
    if keep.all():
        return edges
    return EdgeChunk(edges.ticks[keep], edges.track[keep], edges.level[keep])


def track_names(wanted: Iterable[str]) -> tuple[str, ...]:
    """Names as a wheel file takes them: small letters, digits and _, a letter first, none twice."""
    names: list[str] = []
    for text in wanted:
        name = re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")[:LONGEST_NAME] or "track"
        if not name[0].isalpha():
            name = f"t_{name}"[:LONGEST_NAME]
        plain, number = name, 2
        while name in names:
            name = f"{plain[: LONGEST_NAME - 3]}_{number}"
            number += 1
        names.append(name)
    return tuple(names)


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names) if names else "there is none"


def write_capture(file: IO[str], capture: Capture) -> None:
    """Write an edge table whose first line, a comment, says what its ticks are."""
    note = f"# {capture.header.tick_hz} ticks a second; from {capture.name}"
    for track in capture.widthless:
        note += f"; one edge of {track}: {'rise' if capture.real_level else 'fall'}"
    file.write(note + "\n")
    write_csv(file, capture.header, [capture.edges])
