"""A wheel as its pattern alone: what is left when rotation, scale and names are taken away."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import permutations

import numpy as np

from edgewheel.edges.levels import wheel_levels
from edgewheel.learn.streams import Floats
from edgewheel.wheel.library import find, names
from edgewheel.wheel.model import Wheel

MOST_TRACKS = 4
"""Tracks whose order is tried out."""


@dataclass(frozen=True, eq=False)
class Outline:
    """The smallest repeat of a wheel's edges: `streams` gives by track and level the places of its
    edges as shares of the repeat, ascending; `repeat_deg` its length in crank degrees.
    """

    tracks: tuple[str, ...]
    streams: dict[tuple[str, int], Floats]
    repeat_deg: float

    def counts(self, track: str) -> tuple[int, int]:
        """Falls and rises of a track in a repeat."""
        return len(self.of(track, 0)), len(self.of(track, 1))

    def of(self, track: str, level: int) -> Floats:
        return self.streams.get((track, level), np.empty(0))


@dataclass(frozen=True)
class Likeness:
    """How far a wheel is from another that is turned by `turned_deg` to fit best.

    `off_deg` are crank degrees between their edges at most, `mean_off_deg` on average.
    """

    name: str
    off_deg: float
    mean_off_deg: float
    turned_deg: float
    same_scale: bool


def outline_of(wheel: Wheel) -> Outline:
    """The outline of a wheel as its sensors see it."""
    levels = wheel_levels(wheel)
    places: dict[tuple[str, int], set[Fraction]] = {}
    for angle, track, level in zip(levels.angles, levels.track, levels.level, strict=True):
        places.setdefault((levels.tracks[track], level), set()).add(angle / levels.period)
    most = min(len(ones) for ones in places.values())
    parts = max(n for n in range(1, most + 1) if all(_alike(p, n) for p in places.values()))
    streams = {
        key: np.unique(np.array([float(place * parts % 1) for place in ones]).round(9))
        for key, ones in places.items()
    }
    return Outline(levels.tracks, streams, levels.period / parts)


def _alike(places: set[Fraction], parts: int) -> bool:
    if len(places) % parts:
        return False
    return all((place + Fraction(1, parts)) % 1 in places for place in places)


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
    """How like another wheel is, None if it has another number of edges."""
    if len(outline.tracks) != len(other.tracks) or len(outline.tracks) > MOST_TRACKS:
        return None
    best: Likeness | None = None
    for order in permutations(other.tracks):
        pairs = list(zip(outline.tracks, order, strict=True))
        if any(outline.counts(own) != other.counts(theirs) for own, theirs in pairs):
            continue
        like = _turned_best(outline, other, pairs, name)
        if best is None or like.off_deg < best.off_deg:
            best = like
    return best


def _turned_best(
    outline: Outline, other: Outline, pairs: list[tuple[str, str]], name: str
) -> Likeness:
    streams = [
        (outline.of(own, level), other.of(theirs, level))
        for own, theirs in pairs
        for level in (0, 1)
        if len(outline.of(own, level))
    ]
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
    return Likeness(
        name,
        float(rest.max()),
        float(rest.mean()),
        (turned + middle) % 1 * outline.repeat_deg,
        abs(outline.repeat_deg / other.repeat_deg - 1) < 1e-6,
    )


def _off(own: Floats, theirs: Floats) -> Floats:
    """From each of `theirs` (n,) on a ring of length 1 to the nearest of `own` (k,), signed."""
    off = (own[None, :] - theirs[:, None] + 0.5) % 1 - 0.5
    return np.asarray(off[np.arange(len(theirs)), np.argmin(np.abs(off), axis=1)])
