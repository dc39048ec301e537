"""The pattern behind the streams: every edge of one repeat, and how much that explains."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property, partial

import numpy as np

from edgewheel.learn.course import LEAST_REPEATS, Course, Folded, course_of, fold_late
from edgewheel.learn.joint import Cluster, Irregular, clusters, irregular, joint_period
from edgewheel.learn.period import Unlike, hole_period, smallest_period
from edgewheel.learn.ripple import FEW, Swing, fit_swing
from edgewheel.learn.slots import Slots
from edgewheel.learn.streams import Floats, Stream, Streams

MOST_SLOTS = 800
"""Slots in a repeat: a row of 360 slits twice over, and some."""

PITCHED = 0.07
"""Slots by which half the teeth of a long even row may stand off; a row of few teeth is held to
less, because there ripple and uneven teeth look alike.
"""

ODD_TEETH = 0.06
"""Share of the teeth of an even row that may stand far off."""

SHORTEST_WINDOW = 8
"""Slots over which the speed is averaged at least."""

LENGTH_DOUBT = 2e-5
"""Doubt for each edge of a repeat, so that of equals the shorter is taken."""

GAP_DOUBT = 5e-4
"""Doubt for each gap: behind a VR sensor teeth have one where the spaces between them have two."""

DEPTH_DOUBT = 0.05
"""Doubt for ripple as deep as the mean speed: of two that fit, the weaker is taken."""

ASTRAY, ASTRAY_DOUBT = 0.25, 0.002
"""Slots off its own beyond which a tooth is hardly bent, and the doubt for each such tooth."""

MANY_ODD = 0.02
"""From this share of its edges on, those of the main stream without a slot may be a pattern."""

LONGER = (2, 3)
"""Times the repeat that are tried where some edges come in only some of the repeats."""

BY_CHANCE = 0.01
"""Edges that would be as regular by chance more often than this are not taken to be."""


@dataclass(frozen=True)
class PatternEdge:
    """An edge that comes in every repeat.

    `place` is in slots from the begin of the repeat, ripple taken out; `spread` its standard
    deviation in slots; `seen` the share of repeats that have it.
    """

    track: str
    level: int
    place: float
    spread: float
    seen: float


@dataclass(frozen=True, eq=False)
class Pattern:
    """A hypothesis of what repeats.

    `main` is the stream whose edges count the slots, `period` the slots of a repeat, `clusters` all
    edges as they were counted. `pitched` says that slots are equal pitches (`row` is 0 if they were
    counted as such); then `off` (period,) is how late the main edge of each slot comes beside
    ripple, NaN for a hole. `swing` is the ripple. `explained` is the share of all edges, seen and
    expected, that are where the pattern has them; `extra` and `dropped` count the others.
    `irregular` are edges that come in too many repeats for chance and in too few to be sure of.
    """

    main: Stream
    course: Course
    period: int
    row: int
    folded: Folded
    clusters: tuple[tuple[Stream, Cluster], ...]
    repeats: float
    explained: float
    extra: int
    dropped: int
    pitched: bool
    swing: Swing
    irregular: tuple[tuple[Stream, Irregular], ...] = ()

    @cached_property
    def late(self) -> Floats:
        """How late (period,) the main edges come, ripple included, in slots."""
        late = self.folded.late
        return np.asarray(late - np.nanmedian(late - self.swing.late(self._slots)))

    @cached_property
    def off(self) -> Floats:
        """How far (period,) the main edges stand off their slots, ripple taken out."""
        return np.asarray(self.swing.undone(self._slots + self.late) - self._slots)

    @property
    def _slots(self) -> Floats:
        return np.arange(self.period, dtype=np.float64)

    @cached_property
    def edges(self) -> tuple[PatternEdge, ...]:
        """All edges, ascending: counted between main edges, put where they are without ripple."""
        counted = np.array([cluster.place for _, cluster in self.clusters])
        known = np.flatnonzero(~np.isnan(self.late))
        seen = counted + np.interp(counted, known, self.late[known], period=self.period)
        edges = [
            PatternEdge(stream.track, stream.level, place, cluster.spread, cluster.seen)
            for (stream, cluster), place in zip(
                self.clusters, (self.swing.undone(seen) % self.period).tolist(), strict=True
            )
        ]
        return tuple(sorted(edges, key=lambda edge: edge.place))

    @cached_property
    def error(self) -> float:
        """The standard error, in slots, of where an edge is."""
        spreads = [cluster.spread for _, cluster in self.clusters]
        return float(np.median(spreads)) / float(np.sqrt(max(self.repeats, 1.0)))

    @property
    def teeth(self) -> int:
        """Main edges in a repeat."""
        return int(np.sum(~np.isnan(self.folded.late)))

    @property
    def gaps(self) -> int:
        """Runs of holes in a repeat."""
        holes = np.isnan(self.folded.late)
        return int(np.sum(holes & ~np.roll(holes, 1)))

    @property
    def doubt(self) -> float:
        """What speaks against it: edges it does not explain, then how much it has to assume."""
        assumed = 0.002 * len(self.swing.orders) + 0.002 * bool(self.row)
        if self.pitched:
            off = np.abs(self.off)
            assumed += 0.1 * float(np.nanmedian(off)) + ASTRAY_DOUBT * int((off > ASTRAY).sum())
            assumed += DEPTH_DOUBT * sum(map(self.swing.depth, range(len(self.swing.orders))))
        else:
            assumed += 0.02 + 0.0005 * len(self.clusters)
        assumed += LENGTH_DOUBT * len(self.clusters) + GAP_DOUBT * self.gaps
        return 1 - self.explained + assumed

    def of(self, track: str, level: int) -> list[PatternEdge]:
        """The edges of one stream, ascending."""
        return [edge for edge in self.edges if (edge.track, edge.level) == (track, level)]


def pattern_of(slots: Slots, main: Stream, streams: Streams) -> Pattern | None:
    """The pattern if the main stream's edges have these slots; None if nothing repeats."""
    placed = slots.slot[slots.slot >= 0]
    if len(placed) < 4:
        return None
    count = int(placed[-1] - placed[0]) + 1
    present = np.zeros(count, np.bool_)
    present[placed - placed[0]] = True
    most = min(MOST_SLOTS, count // LEAST_REPEATS)
    if most < 1:
        return None
    step = slots.row or hole_period(present, most)[0]
    rough = course_of(slots, max(step, SHORTEST_WINDOW))
    others = _others(slots, main, streams, rough)
    period = max(joint_period(step, list(others.values()), most), _uneven_period(rough, step, most))
    fold = partial(_folded, slots, main, streams)
    pattern = fold(period)
    return pattern if pattern is None else _regular(pattern, fold, most)


def _regular(pattern: Pattern, fold: Callable[[int], Pattern | None], most: int) -> Pattern:
    """The pattern, or one some times as long in which what comes in some repeats only is regular.

    Of few teeth beside many, one that stands in every second repeat alone hardly shows in how far
    the edges are from one another a repeat later.
    """
    for times in LONGER if pattern.irregular else ():
        regular = all(edge.by_chance(times) < BY_CHANCE for _, edge in pattern.irregular)
        if regular and times * pattern.period <= most:
            longer = fold(times * pattern.period)
            if longer is not None and longer.doubt < pattern.doubt:
                return longer
    return pattern


def _others(
    slots: Slots, main: Stream, streams: Streams, course: Course
) -> dict[tuple[str, int], Floats]:
    """Where the edges of all other streams lie, in slots, and those of the main without a slot."""
    places = {}
    for stream in streams.streams:
        times = stream.times
        if stream is main:
            times = times[slots.slot < 0]
            if len(times) < MANY_ODD * len(slots.slot):
                continue
        place = course.place(times)
        places[stream.track, stream.level] = place[~np.isnan(place)]
    return places


def _uneven_period(course: Course, step: int, most: int) -> int:
    """After how many slots the intervals themselves repeat, a multiple of `step`."""
    filled = np.interp(np.arange(len(course.even_s)), course.slot, course.times)
    late = (filled - course.even_s) / course.slot_seconds()
    late = late[course.period : len(late) - course.period]
    lags = np.arange(step, min(most, len(late) // 2) + 1, step, dtype=np.int64)
    if len(lags) < 2:
        return step
    unlike = [Unlike.of(np.minimum(np.abs(late[lag:] - late[:-lag]), 0.5)) for lag in lags]
    return smallest_period(lags, unlike)


def _folded(slots: Slots, main: Stream, streams: Streams, period: int) -> Pattern | None:
    course = course_of(slots, period if period > 1 else SHORTEST_WINDOW)
    folded = fold_late(course, period)
    if folded.repeats < 1.5 or not np.isfinite(folded.late).any():
        return None
    repeats = (int(course.slot[-1]) + 1) / period
    counted: list[tuple[Stream, Cluster]] = []
    some: list[tuple[Stream, Irregular]] = []
    hits = strange = expected = 0
    for stream in streams.streams:
        place = course.place(stream.times)
        place = place[~np.isnan(place)]
        found, member = clusters(place, period, repeats)
        counted += [(stream, cluster) for cluster in found]
        now_and_then = irregular(place, period, repeats, (found, member))
        some += [(stream, edge) for edge in now_and_then]
        hits += int((member >= 0).sum())
        strange += int((member < 0).sum())
        expected += round(len(found) * repeats)
    if not hits:
        return None
    dropped = max(expected - hits, 0)
    pattern = Pattern(
        main, course, period, slots.row, folded, tuple(counted), repeats,
        hits / (hits + strange + dropped), strange, dropped, True, _swing(folded),
        tuple(some),
    )  # fmt: skip
    return pattern if _is_pitched(pattern) else as_measured(pattern)


def as_measured(pattern: Pattern) -> Pattern:
    """The same pattern read as one of unequal teeth at even speed."""
    return replace(pattern, pitched=False, swing=Swing(pattern.period))


def with_ripple(pattern: Pattern, swing: Swing) -> Pattern:
    """The same pattern read as one of equal pitches under this ripple."""
    return replace(pattern, pitched=True, swing=swing)


def _noise(folded: Folded) -> float:
    """The error of how late a tooth comes, in slots."""
    return float(np.nanmedian(folded.spread)) / float(np.sqrt(max(folded.repeats, 1.0)))


def _swing(folded: Folded) -> Swing:
    return fit_swing(folded.late, _noise(folded))


def _is_pitched(pattern: Pattern) -> bool:
    """True if the teeth of the main stream are meant to stand on equal pitches."""
    known = np.abs(pattern.off[~np.isnan(pattern.off)])
    few = min(1.0, (len(known) / FEW) ** 2)
    limit = max(PITCHED * few, 0.003, 3 * _noise(pattern.folded))
    far = int((known > 2 * limit).sum())
    return float(np.median(known)) <= limit and far <= ODD_TEETH * len(known)
