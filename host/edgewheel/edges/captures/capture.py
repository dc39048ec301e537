"""What every kind of capture becomes: an edge table, and what was found in the file."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from edgewheel.edges.table import EdgeChunk, EdgeHeader, join
from edgewheel.errors import FileError, Place

LONGEST_NAME = 24
MOST_TRACKS = 8


@dataclass(frozen=True)
class Capture:
    """Edges that were measured, not computed.

    `found` are sentences on how the file was read. A track in `widthless` has true edges of one
    direction only, `real_level`; the others were drawn in between, so that the table is one.
    `end_tick` is when the capture ended.
    """

    name: str
    header: EdgeHeader
    edges: EdgeChunk
    end_tick: int
    found: tuple[str, ...] = ()
    widthless: tuple[str, ...] = ()
    real_level: int = 1

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
) -> Capture:
    """A capture of edges whose first tick may be anything; they are moved to begin at 0.

    Raises FileError where nothing changes: then there is no signal to work with.
    """
    edges = join(*chunks)
    if len(edges) < 2:
        raise FileError(
            Place(str(path)),
            f"no signal in it changes: {_listed(names)}",
            "Choose another column or threshold, or check the wiring of the capture.",
        )
    initial = []
    for track in range(len(names)):
        own = edges.level[edges.track == track]
        initial.append(1 - int(own[0]) if len(own) else 0)
    header = EdgeHeader(tick_hz, tuple(names), tuple(initial))
    return Capture(path.name, header, edges, int(edges.ticks[-1]), tuple(found))


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
