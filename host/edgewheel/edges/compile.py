"""From a level table and a motion to the edge table, chunk by chunk."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.moved import MovedCourse
from edgewheel.edges.phase import BLOCK_EDGES, PhaseTables
from edgewheel.edges.reorder import Reorder
from edgewheel.edges.stream import EdgeStream
from edgewheel.edges.stretch import Course, FixedCourse
from edgewheel.edges.table import EdgeChunk, EdgeHeader
from edgewheel.errors import UsageError
from edgewheel.motion.motion import Motion


class EdgeCompiler:
    """The edges of a wheel under a motion, from any time on.

    The motion may grow while chunks are drawn. Ticks do not depend on where a chunk ends or a
    reading begins. Raises UsageError if the motion times a cam that the wheel does not have.
    """

    def __init__(
        self, levels: LevelTable, motion: Motion, tick_hz: int, *, passages: bool = False
    ) -> None:
        """With `passages`, every chunk has its column of that name."""
        self._levels = levels
        self._tick_hz = tick_hz
        moved = {_cam_track(levels, name): name for name in motion.cams}
        fixed = levels.only(set(range(len(levels.tracks))) - set(moved)) if moved else levels
        courses: list[tuple[LevelTable, Course]] = [
            (fixed, FixedCourse(PhaseTables(fixed), motion, tick_hz))
        ]
        for track, name in moved.items():
            own = levels.only([track])
            course = MovedCourse(name, motion.cams[name], PhaseTables(own), motion, tick_hz)
            courses.append((own, course))
        self._streams = [
            EdgeStream(table, course, tick_hz, passages=passages)
            for table, course in courses
            if len(table)
        ]

    def header(self, begin_s: Fraction = Fraction(0)) -> EdgeHeader:
        """The header of the table that begins at a time: levels as they stand just before it."""
        initial = dict(enumerate(self._levels.initial))
        for stream in self._streams:
            initial |= stream.initial(begin_s)
        return EdgeHeader(self._tick_hz, self._levels.tracks, tuple(initial.values()))

    def passed(self, end_s: Fraction) -> int:
        """How many edges of teeth pass in [0, end_s), either way, found without computing them."""
        return sum(stream.passed(end_s) for stream in self._streams)

    def chunks(
        self,
        begin_s: Fraction = Fraction(0),
        end_s: Fraction | None = None,
        chunk_edges: int = BLOCK_EDGES,
    ) -> Iterator[EdgeChunk]:
        """The edges in [begin_s, end_s), in chunks of about `chunk_edges` that may end anywhere.

        Without `end_s`, to the end of the motion as it is when the reading gets there. A direction
        sensor's pulse is whole if it starts in time. Raises UsageError where such pulses overlap.
        """
        chunk_edges = min(chunk_edges, BLOCK_EDGES)
        if len(self._streams) == 1:
            return self._streams[0].chunks(begin_s, end_s, chunk_edges)
        total = max(len(self._levels), 1)
        return _merged(
            [
                stream.chunks(begin_s, end_s, max(chunk_edges * len(stream) // total, 1))
                for stream in self._streams
            ],
            chunk_edges,
        )


def _cam_track(levels: LevelTable, name: str) -> int:
    """The number of a cam track. Raises UsageError if there is no such cam."""
    cams = [levels.tracks[track] for track in levels.cams]
    if name in cams:
        return levels.tracks.index(name)
    listed = f"Its cam tracks are: {', '.join(cams)}." if cams else "It has no cam track."
    raise UsageError(f"The motion times '{name}', which is no cam track of this wheel. {listed}")


def _merged(streams: list[Iterator[EdgeChunk]], chunk_edges: int) -> Iterator[EdgeChunk]:
    """Several streams as one, ascending, edges of one tick in the order of their tracks."""
    order = Reorder()
    reached = dict.fromkeys(range(len(streams)), -1)
    while reached:
        behind = min(reached, key=lambda number: reached[number])
        chunk = next(streams[behind], None)
        if chunk is None:
            del reached[behind]
        elif len(chunk):
            order.push(chunk)
            reached[behind] = int(chunk.ticks[-1])
        ready = order.release(min(reached.values()) if reached else None)
        for begin in range(0, len(ready), chunk_edges):
            yield ready[begin : begin + chunk_edges]
