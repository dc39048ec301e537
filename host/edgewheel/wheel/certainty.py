"""How soon a decoder that knows the wheel, but not where it stands, can be sure of where it stands.

The decoder is switched on at an unknown angle of a wheel that turns forward at a steady, unknown
speed. From then on it sees events: one or more edges at one angle. Of each it knows the tracks, if
it reads levels also the levels of all tracks from there on, and, once a track has had three, the
ratio of that track's last two periods. A start stays possible as long as every event is what the
wheel would have shown from there: the same tracks, the same levels, and no ratio beyond the
tolerance. The decoder is sure of the crank position when all that are possible now, and ever after,
agree on the angle within the turn, and of the phase when they agree on it within the cycle.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from edgewheel.wheel.alike import Event, known_from
from edgewheel.wheel.model import TURN, Wheel
from edgewheel.wheel.pins import EdgeChoice, levels_at, pin_edges, reads_level


@dataclass(frozen=True)
class Decoder:
    """The edges a decoder answers, and whether it reads all tracks' levels at each of them."""

    edges: EdgeChoice
    reads_levels: bool


DECODERS = tuple(
    Decoder(edges, levels) for levels in (False, True) for edges in ("rise", "fall", "both")
)


@dataclass(frozen=True)
class Wait:
    """The longest wait until a decoder is sure: crank degrees, edges seen, teeth of its main track.

    The three maxima may come from different starts. `start_deg` is a start after which the degrees
    are the most.
    """

    degrees: Fraction
    edges: int
    teeth: int
    start_deg: Fraction


@dataclass(frozen=True)
class Certainty:
    """What one decoder can tell: None where it can never be sure.

    `alike_deg` are the rotations, in crank degrees short of the period, that change nothing that
    it sees.
    """

    decoder: Decoder
    alike_deg: tuple[Fraction, ...]
    position: Wait | None
    phase: Wait | None


def events_of(wheel: Wheel, decoder: Decoder) -> tuple[Event, ...]:
    """What the decoder sees in one period, ascending."""
    seen: dict[Fraction, list[tuple[int, bool]]] = {}
    for number, track in enumerate(wheel.tracks):
        for edge in pin_edges(track, wheel.period, decoder.edges):
            seen.setdefault(edge.angle, []).append((number, edge.leading))
    angles = sorted(seen)
    readable = [track for track in wheel.tracks if decoder.reads_levels and reads_level(track)]
    levels = [levels_at(track, wheel.period, angles) for track in readable]
    return tuple(
        Event(
            angle,
            tuple(number for number, _ in seen[angle]),
            tuple(leading for _, leading in seen[angle]),
            tuple(track_levels[index] for track_levels in levels),
        )
        for index, angle in enumerate(angles)
    )


def symmetry(events: tuple[Event, ...], period: int) -> Fraction:
    """The smallest rotation in degrees that changes nothing, a whole fraction of the period."""
    count = len(events)
    letters = [
        (here.tracks, here.levels, (following.angle - here.angle) % period)
        for here, following in pairwise([*events, events[0]])
    ]
    for step in range(1, count):
        if count % step == 0 and letters[step:] + letters[:step] == letters:
            return Fraction(period * step, count)
    return Fraction(period)


def certainty(wheel: Wheel, decoder: Decoder, tolerance: Fraction) -> Certainty:
    """What one decoder can tell of a wheel, `tolerance` being how far two ratios must differ.

    Two ratios are told apart if the larger is more than (1 + tolerance) times the smaller.
    """
    events = events_of(wheel, decoder)
    smallest = symmetry(events, wheel.period)
    alike = tuple(smallest * n for n in range(1, int(wheel.period / smallest)))
    if smallest % TURN:
        return Certainty(decoder, alike, None, None)
    events = events[: int(len(events) * smallest / wheel.period)]
    known = known_from(events, int(smallest), tolerance)
    return Certainty(
        decoder,
        alike,
        _longest_wait(events, int(smallest), known.position),
        _longest_wait(events, int(smallest), known.phase) if not alike else None,
    )


def _longest_wait(
    events: tuple[Event, ...], period: int, known: tuple[int | None, ...]
) -> Wait | None:
    """The worst of all starts; a start lies just behind an event, where most is still to come."""
    waits = []
    for first, last in enumerate(known):
        if last is None:
            return None
        start = _angle(events, period, first - 1)
        waits.append((_angle(events, period, last) - start, start % period, first, last))
    degrees, start, _, _ = max(waits, key=lambda wait: wait[0])
    leading = _leading_edges(events)
    return Wait(
        degrees,
        max(last - first + 1 for _, _, first, last in waits),
        max(_teeth_seen(leading, first, last) for _, _, first, last in waits),
        start,
    )


def _angle(events: tuple[Event, ...], period: int, index: int) -> Fraction:
    turns, number = divmod(index, len(events))
    return events[number].angle + turns * period


def _leading_edges(events: tuple[Event, ...]) -> list[bool | None]:
    """For each event whether the busiest track's edge there leads a tooth; None without an edge."""
    tracks = [track for event in events for track in event.tracks]
    main = max(sorted(set(tracks)), key=tracks.count)
    return [
        event.leading[event.tracks.index(main)] if main in event.tracks else None
        for event in events
    ]


def _teeth_seen(leading: list[bool | None], first: int, last: int) -> int:
    """Teeth that show an edge in events first to last, both included."""
    teeth, open_tooth = 0, False
    for index in range(first, last + 1):
        leads = leading[index % len(leading)]
        if leads is not None:
            teeth += leads or not open_tooth
            open_tooth = leads
    return teeth
