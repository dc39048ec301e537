"""The smallest repeat of a pattern, with what is wrong with single teeth left out of it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np

from edgewheel.learn.pattern import Pattern, PatternEdge
from edgewheel.learn.streams import Floats, Ints, median

ALIKE, ALIKE_LEAST = 0.05, 0.01
"""Slots within which an edge is the same one a part of the repeat later: in a repeat of many slots,
and at least in one of few, where a slot is wide.
"""

MANY_SLOTS = 24

TIMES_ERROR = 6.0
"""Standard errors of a place by which two of many may differ by chance."""


@dataclass(frozen=True)
class Repeat:
    """All edges of one repeat, `slots` long, in slots from its begin, ascending.

    `parts` says how many of them the folded pattern holds.
    """

    slots: int
    edges: tuple[PatternEdge, ...]
    parts: int

    def places(self, track: str, level: int) -> list[float]:
        """Where a stream's edges are, ascending."""
        return sorted(e.place for e in self.edges if (e.track, e.level) == (track, level))

    @property
    def tracks(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(edge.track for edge in self.edges))


def repeat_of(pattern: Pattern) -> Repeat:
    """The smallest repeat in a pattern, its edges where a sound wheel has them."""
    sound = _sound(pattern)
    streams = defaultdict(list)
    for edge in sound:
        streams[edge.track, edge.level].append(edge.place)
    period = pattern.period
    parts = max(
        parts
        for parts in range(1, period + 1)
        if period % parts == 0
        and all(turns_alike(p, period, parts, pattern.error) for p in streams.values())
    )
    return Repeat(pattern.period // parts, tuple(_averaged(sound, pattern.period, parts)), parts)


def _sound(pattern: Pattern) -> list[PatternEdge]:
    """The edges without the deviations of single teeth: those of the main stream on their pitch,
    the other edge of the same tooth as far from it as it was.
    """
    if not pattern.pitched:
        return list(pattern.edges)
    period, main = pattern.period, pattern.main
    rise_first = main.level == 1
    known = np.flatnonzero(~np.isnan(pattern.off))
    sound = []
    for edge in pattern.edges:
        place = edge.place
        if edge.track == main.track:
            same = edge.level == main.level
            owner = _owner(place, known, pattern.off, same=same, before=rise_first)
            place = (place - pattern.off[owner]) % period
            if edge.level == main.level and abs(_signed(place - owner, period)) < ALIKE:
                place = float(owner)
        sound.append(replace(edge, place=float(place % period)))
    return sound


def _owner(place: float, known: Ints, off: Floats, *, same: bool, before: bool) -> int:
    """The slot of the tooth that an edge belongs to, of those `known`, which stand `off`."""
    teeth = known + off[known]
    ahead = (teeth - place) % len(off)
    behind = (place - teeth) % len(off)
    if same:
        return int(known[np.argmin(np.minimum(ahead, behind))])
    return int(known[np.argmin(behind if before else ahead)])


def turns_alike(places: list[float], period: int, parts: int, error: float = 0.0) -> bool:
    """True if the places are the same when all are turned by a part of the period.

    `error` is the standard error of a place, in slots.
    """
    if len(places) % parts:
        return False
    ring = np.sort(np.array(places))
    moved = np.sort((ring + period / parts) % period)
    # An edge close to the begin may have gone round to the other end of the order.
    near = np.stack([moved, np.roll(moved, 1), np.roll(moved, -1)])
    off = np.abs((near - ring + period / 2) % period - period / 2)
    return bool(np.all(off.min(axis=0) < max(_alike(period), TIMES_ERROR * error)))


def _alike(period: int) -> float:
    return max(ALIKE * min(1.0, period / MANY_SLOTS), ALIKE_LEAST)


def _averaged(edges: list[PatternEdge], period: int, parts: int) -> list[PatternEdge]:
    """The edges of one part, each in the middle of where it is in all of them."""
    part = period // parts
    if parts == 1:
        return sorted(edges, key=lambda edge: edge.place)
    groups: dict[tuple[str, int], list[list[PatternEdge]]] = defaultdict(list)
    for edge in sorted(edges, key=lambda one: one.place):
        for group in groups[edge.track, edge.level]:
            if abs(_signed(edge.place - group[0].place, part)) < 2 * ALIKE:
                group.append(edge)
                break
        else:
            groups[edge.track, edge.level].append([edge])
    averaged = [_middle_edge(group, part) for stream in groups.values() for group in stream]
    return sorted(averaged, key=lambda edge: edge.place)


def _middle_edge(group: list[PatternEdge], part: int) -> PatternEdge:
    """One edge for those that are the same one, one of each part."""
    head = group[0]
    off = median(np.array([_signed(edge.place - head.place, part) for edge in group]))
    spread = median(np.array([edge.spread for edge in group]))
    seen = sum(edge.seen for edge in group) / len(group)
    return replace(head, place=(head.place + off) % part, spread=spread, seen=seen)


def _signed(places: float, period: int) -> float:
    return (places + period / 2) % period - period / 2
