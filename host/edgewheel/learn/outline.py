"""A wheel as its pattern alone: what is left when rotation, scale and names are taken away."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import permutations, product
from math import lcm

import numpy as np

from edgewheel.edges.levels import wheel_levels
from edgewheel.learn.streams import Floats
from edgewheel.wheel.library import find, names
from edgewheel.wheel.model import Wheel

MOST_PERMUTED = 5
"""Tracks whose order is tried out."""


@dataclass(frozen=True, eq=False)
class Outline:
    """The smallest repeat of a wheel's edges: `streams` gives by track and level the places of its
    edges as shares of the repeat, ascending; `repeat_deg` its length in crank degrees.
    """

    tracks: tuple[str, ...]
    streams: dict[tuple[str, int], Floats]
    repeat_deg: float

    def of(self, track: str, level: int) -> Floats:
        """The places of a track's edges to a level, none if it is not known."""
        return self.streams.get((track, level), np.empty(0))

    def repeated(self, times: int) -> Outline:
        """So many repeats as if they were one."""
        starts = np.arange(times)[:, None]
        streams = {key: np.ravel(starts + ones) / times for key, ones in self.streams.items()}
        return Outline(self.tracks, streams, self.repeat_deg * times)


@dataclass(frozen=True)
class Likeness:
    """How far a wheel is from another that is turned by `turned_deg` to fit best.

    `off_deg` are crank degrees between their edges at most, `mean_off_deg` on average; `pairs` says
    which track of the one is which of the other.
    """

    name: str
    off_deg: float
    mean_off_deg: float
    turned_deg: float
    same_scale: bool
    pairs: tuple[tuple[str, str], ...] = ()


def outline_of(wheel: Wheel, one_edge: Mapping[str, int] | None = None) -> Outline:
    """The outline of a wheel as its sensors see it.

    `one_edge` gives the level of the only edges that are known of some tracks.
    """
    levels, known = wheel_levels(wheel), one_edge or {}
    # In whole numbers of the finest part, which is as exact as fractions are and much faster.
    finest = lcm(*(angle.denominator for angle in levels.angles))
    whole = levels.period * finest
    places: dict[tuple[str, int], set[int]] = {}
    for angle, number, level in zip(levels.angles, levels.track, levels.level, strict=True):
        track = levels.tracks[number]
        if known.get(track, level) == level:
            places.setdefault((track, level), set()).add(
                angle.numerator * (finest // angle.denominator) % whole
            )
    most = min(len(ones) for ones in places.values())
    parts = max(n for n in range(1, most + 1) if all(_alike(p, whole, n) for p in places.values()))
    streams = {
        key: np.unique(np.array([place * parts % whole / whole for place in ones]).round(9))
        for key, ones in places.items()
    }
    return Outline(levels.tracks, streams, levels.period / parts)


def _alike(places: set[int], whole: int, parts: int) -> bool:
    """True if the places on a ring are the same when it is turned by a part of the whole."""
    if len(places) % parts or whole % parts:
        return False
    return all((place + whole // parts) % whole in places for place in places)


@cache
def library() -> tuple[tuple[str, Outline], ...]:
    """Every wheel of the library with its outline."""
    return tuple((name, outline_of(find(name))) for name in names())


def nearest(outline: Outline, among: tuple[tuple[str, Outline], ...]) -> Likeness | None:
    """The likest of some wheels with as many edges on as many tracks; None if there is none."""
    found = [like for name, other in among if (like := likeness(outline, other, name)) is not None]
    # Of equals, one of the same scale and of the fewest words in its name is the plainest.
    key = lambda like: (round(like.off_deg, 1), not like.same_scale, len(like.name))  # noqa: E731
    return min(found, key=key, default=None)


def likeness(outline: Outline, other: Outline, name: str) -> Likeness | None:
    """How like another wheel is, None if it has another number of edges.

    Where only one edge of each tooth is known, it may be either one of the other's.
    """
    if len(outline.tracks) != len(other.tracks) or len(outline.tracks) > MOST_PERMUTED:
        return None
    best: Likeness | None = None
    for pairs, tracks in _laid(outline, other):
        like = _turned_best(outline, pairs, name)
        if best is None or like.off_deg < best.off_deg:
            same = abs(outline.repeat_deg / other.repeat_deg - 1) < 1e-6
            best = replace(like, same_scale=same, pairs=tracks)
    return best


Pairs = tuple[tuple[Floats, Floats], ...]
"""Places of one outline's streams, each with those of the other's stream that it is laid on."""


def laid_on(outline: Outline, other: Outline) -> Iterator[Pairs]:
    """Every way to lay the streams of an outline on those of another, track by track."""
    if len(outline.tracks) == len(other.tracks) <= MOST_PERMUTED:
        yield from (pairs for pairs, _ in _laid(outline, other))


def _laid(outline: Outline, other: Outline) -> Iterator[tuple[Pairs, tuple[tuple[str, str], ...]]]:
    """The streams laid on one another, and which track was laid on which."""
    for order in permutations(other.tracks):
        tracks = tuple(zip(outline.tracks, order, strict=True))
        choices = [_matching(outline, own, other, theirs) for own, theirs in tracks]
        for chosen in product(*choices):
            yield tuple(pair for pairs in chosen for pair in pairs), tracks


def _matching(outline: Outline, own: str, other: Outline, theirs: str) -> list[Pairs]:
    """The ways in which the streams of two tracks can be laid on one another."""
    levels = [level for level in (0, 1) if len(outline.of(own, level))]
    maps = [(level,) for level in (1, 0)] if len(levels) == 1 else [tuple(levels)]
    ways = [
        tuple(
            (outline.of(own, level), other.of(theirs, to))
            for level, to in zip(levels, chosen, strict=True)
        )
        for chosen in maps
    ]
    return [way for way in ways if all(len(a) == len(b) for a, b in way)]


def _turned_best(outline: Outline, streams: Pairs, name: str) -> Likeness:
    own_few, other_few = min(streams, key=lambda pair: len(pair[0]))
    offs = []
    for place in own_few:
        turned = float((place - other_few[0]) % 1)
        distances = [_off(own, theirs + turned) for own, theirs in streams]
        offs.append((max(float(np.max(np.abs(d))) for d in distances), turned, distances))
    _, turned, distances = min(offs, key=lambda one: one[0])
    together = np.concatenate(distances)
    middle = float((together.max() + together.min()) / 2)
    rest = np.abs(together - middle) * outline.repeat_deg
    turned_deg = (turned + middle) % 1 * outline.repeat_deg
    return Likeness(name, float(rest.max()), float(rest.mean()), turned_deg, False)


def _off(own: Floats, theirs: Floats) -> Floats:
    """From each of `theirs` (n,) on a ring of length 1 to the nearest of `own` (k,), signed."""
    off = (own[None, :] - theirs[:, None] + 0.5) % 1 - 0.5
    return np.asarray(off[np.arange(len(theirs)), np.argmin(np.abs(off), axis=1)])
