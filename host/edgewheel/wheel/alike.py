"""How long two starts on a wheel look the same to a decoder: the search behind `certainty`.

Two starts d events apart stay alike along a diagonal: event e of the one beside event e + d of the
other. One pass over a diagonal finds, for all starts on it, the first event that tells them apart,
so n events take n squared steps, not n cubed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import accumulate
from typing import NamedTuple

from edgewheel.wheel.model import TURN

_NEVER = 1 << 60


@dataclass(frozen=True)
class Event:
    """All edges at one angle, as a decoder sees them.

    `tracks` are indices into the wheel's tracks, `leading` tells for each whether it is the first
    edge of a tooth, `levels` are the levels from here on of the tracks that have one to read (empty
    if the decoder does not read them).
    """

    angle: Fraction
    tracks: tuple[int, ...]
    leading: tuple[bool, ...]
    levels: tuple[bool, ...]


@dataclass(frozen=True)
class KnownFrom:
    """For each of n events as the first that is seen, the event that settles where the wheel is.

    Indices count on beyond n, turn after turn; None where it is never settled.
    """

    position: tuple[int | None, ...]
    phase: tuple[int | None, ...]


_Look = tuple[tuple[int, ...], tuple[bool, ...], tuple[Fraction, ...]]
"""What an event shows: its tracks, the levels, and each track's last period over the one before."""


class _Seen(NamedTuple):
    """An event as it is compared: the number of its look, and how far its ratios reach back.

    `back` gives, for each track, how many events ago its last but one edge was: a decoder that
    started later does not have the ratio.
    """

    look: int
    back: tuple[int, ...]


def known_from(events: tuple[Event, ...], period: int, tolerance: Fraction) -> KnownFrom:
    """When position and phase are settled, for events that repeat after `period` crank degrees.

    `period` is the smallest rotation that changes nothing, a multiple of 360; phase is the position
    within it.
    """
    count = len(events)
    looks: dict[_Look, int] = {}
    seen = [_seen(events, period, index, looks) for index in range(count)]
    compare = _comparison(tuple(looks), 1 + tolerance)
    places: dict[Fraction, int] = {}
    turn_places = [places.setdefault(event.angle % TURN, len(places)) for event in events]
    position, phase = list(range(count)), list(range(count))
    for shift in range(1, count // 2 + 1):
        shifted = seen[shift:] + seen[:shift]
        told = _first_told([compare(a, b) for a, b in zip(seen, shifted, strict=True)])
        shifted_places = turn_places[shift:] + turn_places[:shift]
        differs = [a != b for a, b in zip(turn_places, shifted_places, strict=True)]
        _settle(position, shift, _after_last_conflict(told, differs))
        _settle(phase, shift, told)
    return KnownFrom(_or_none(position), _or_none(phase))


def _settle(known: list[int], shift: int, when: list[int]) -> None:
    """Move `known` on for both starts of every pair on a diagonal; `when` counts for the first."""
    others = [*range(shift, len(known)), *range(shift)]
    for start, (other, index) in enumerate(zip(others, when, strict=True)):
        if index > known[start]:
            known[start] = index
        if index + other - start > known[other]:
            known[other] = index + other - start


def _or_none(known: list[int]) -> tuple[int | None, ...]:
    return tuple(index if index < _NEVER // 2 else None for index in known)


def _seen(events: tuple[Event, ...], period: int, index: int, looks: dict[_Look, int]) -> _Seen:
    ratios, back = [], []
    for track in events[index].tracks:
        middle = _edge_before(events, index, track)
        first = _edge_before(events, middle, track)
        angles = [_unrolled(events, period, one) for one in (first, middle, index)]
        ratios.append((angles[2] - angles[1]) / (angles[1] - angles[0]))
        back.append(index - first)
    look = (events[index].tracks, events[index].levels, tuple(ratios))
    return _Seen(looks.setdefault(look, len(looks)), tuple(back))


def _edge_before(events: tuple[Event, ...], index: int, track: int) -> int:
    """The last event before this one that has an edge of the track; below 0 in the turn before."""
    index -= 1
    while track not in events[index % len(events)].tracks:
        index -= 1
    return index


def _unrolled(events: tuple[Event, ...], period: int, index: int) -> Fraction:
    turns, number = divmod(index, len(events))
    return events[number].angle + turns * period


def _comparison(looks: tuple[_Look, ...], factor: Fraction) -> Callable[[_Seen, _Seen], int | None]:
    """A function that says how many events back a decoder must have started to tell two apart.

    0: at once; None: never.
    """

    @cache
    def differing(one: int, other: int) -> tuple[int, ...] | None:
        """The places of the ratios that differ, None if the events differ at once."""
        if looks[one][:2] != looks[other][:2]:
            return None
        pairs = zip(looks[one][2], looks[other][2], strict=True)
        return tuple(n for n, (a, b) in enumerate(pairs) if max(a, b) > factor * min(a, b))

    def compare(one: _Seen, other: _Seen) -> int | None:
        if one.look == other.look:
            return None
        places = differing(one.look, other.look)
        if places is None:
            return 0
        return min((one.back[place] for place in places), default=None)

    return compare


def _first_told(reach: list[int | None]) -> list[int]:
    """For each of n starts the first event that tells the pair apart, given each event's reach.

    Ratios reach back two turns at most, so in the third turn everything there is has been seen.
    """
    count = len(reach)
    telling = [(event, back) for event, back in enumerate(reach) if back is not None]
    if not telling:
        return [_NEVER] * count
    first_for = [_NEVER] * (4 * count)
    for turn in reversed(range(4)):
        for event, back in reversed(telling):
            seen = turn * count + event
            if back <= seen:
                first_for[seen - back] = seen
    later = min(first_for[count:])
    suffix_minima = list(accumulate(reversed(first_for[:count]), min, initial=later))
    return suffix_minima[:0:-1]


def _after_last_conflict(told: list[int], differs: list[bool]) -> list[int]:
    """For each of n starts the event from which the pair agrees on the angle, told apart or not.

    `differs` says for each event whether the angles within the turn differ there.
    """
    count = len(told)
    if all(differs):
        return told
    conflicts = (n if differs[n % count] else -1 for n in range(4 * count))
    last_before = list(accumulate(conflicts, max, initial=-1))
    return [
        max(start, last_before[apart] + 1) if apart < _NEVER else _or_never(start, differs)
        for start, apart in enumerate(told)
    ]


def _or_never(start: int, differs: list[bool]) -> int:
    return _NEVER if any(differs) else start
