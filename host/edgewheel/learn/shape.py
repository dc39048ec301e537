"""From a repeat in slots to tracks of teeth in degrees."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt

from edgewheel.learn.repeat import Repeat
from edgewheel.learn.scale import Scale
from edgewheel.learn.streams import Pulsed
from edgewheel.wheel.model import PinLevel, SensorKind, Shaft

MIDWAY = 0.04
"""Slots within which an edge lies midway between two others."""

AT_ORIGIN_DEG, NEAR_DEG = 0.3, 2.0
"""Degrees within which a tooth stands at the origin; within which two are the same one."""

GAP = 1.25
"""Times the usual distance of two teeth beyond which there is a gap."""

FEW_OFF = 0.1
"""Share of the crossings beside the gaps that teeth that stand wrong may have moved."""

MEDIAN_ERROR = 1.2533
"""Standard error of a median beside that of a mean, for normal scatter: sqrt(pi / 2)."""

Span = tuple[float, float]
"""Begin and end of a tooth in degrees of its shaft; the end may exceed the turn."""


@dataclass(frozen=True)
class LearnedTrack:
    """A track as far as the capture tells.

    `teeth` are ascending, each beginning in [0, 360) of its own shaft. `width_known` is False where
    the edges say nothing of it; then half the least pitch is written. `pulse_us` is the time of a
    direction sensor's pulse, 0 for others. `error_deg` is the standard error of the edge that is
    known least, in degrees of the shaft.
    """

    name: str
    shaft: Shaft
    kind: SensorKind
    metal: PinLevel
    teeth: tuple[Span, ...]
    width_known: bool
    pulse_us: float = 0.0
    error_deg: float = 0.0


@dataclass(frozen=True)
class Shape:
    """All tracks, turned so that a tooth of the first begins at 0; `origin_slot` is there now.

    `turn_slots` are the slots in a turn of the main track's shaft, 0 if slots are not pitches.
    """

    period: int
    tracks: tuple[LearnedTrack, ...]
    main: str
    turn_slots: int
    origin_slot: float


def shape_of(
    repeat: Repeat,
    repeats: float,
    scale: Scale,
    main: str,
    pitched: bool,
    widthless: Mapping[str, int],
    pulsed: Mapping[str, Pulsed],
) -> Shape:
    """The tracks of a repeat that came so many times; `widthless` gives the level of the real edges
    by track.
    """
    drafts = {
        track: _draft(repeat, track, widthless.get(track), pulsed.get(track))
        for track in repeat.tracks
    }
    origin = _origin(drafts[main].teeth, repeat.slots)
    tracks = tuple(_turned(drafts[track], repeat, repeats, scale, origin) for track in drafts)
    per_turn = repeat.slots * scale.copies * (1 if scale.period == 360 else 2)
    per_turn = per_turn // 4 if scale.period == 720 and scale.shafts[main] == "crank" else per_turn
    if scale.period == 720 and scale.shafts[main] == "cam":
        per_turn //= 2
    return Shape(scale.period, tracks, main, per_turn if pitched else 0, origin)


@dataclass(frozen=True)
class _Draft:
    """A track's teeth in slots."""

    name: str
    kind: SensorKind
    metal: PinLevel
    teeth: tuple[Span, ...]
    width_known: bool
    pulse_us: float = 0.0


def _draft(repeat: Repeat, track: str, real: int | None, pulsed: Pulsed | None) -> _Draft:
    rises, falls = repeat.places(track, 1), repeat.places(track, 0)
    period = repeat.slots
    if pulsed is not None:
        begins = rises if pulsed.level else falls
        metal: PinLevel = "high" if pulsed.level else "low"
        teeth = _half_wide(begins, period, 0.0)
        return _Draft(track, "hall", metal, teeth, False, pulsed.seconds * 1e6)
    if real is not None or len(rises) != len(falls):
        begins = rises if real == 1 or len(rises) > len(falls) else falls
        # A falling edge that alone is real ends a tooth.
        before = 0.0 if begins is rises else 1.0
        return _Draft(track, "hall", "high", _half_wide(begins, period, before), False)
    high, low = _spans(rises, falls, period), _spans(falls, rises, period)
    for falling, rising, metal in ((falls, rises, "high"), (rises, falls, "low")):
        if _crosses_midway(falling, rising, period):
            return _Draft(track, "vr", metal, _half_wide(falling, period, 0.5), False)
    if _unlike(low) < _unlike(high):
        return _Draft(track, "hall", "low", low, True)
    return _Draft(track, "hall", "high", high, True)


def _spans(begins: list[float], ends: list[float], period: int) -> tuple[Span, ...]:
    """From each begin to the next end."""
    return tuple((b, b + min((e - b) % period for e in ends)) for b in begins)


def _half_wide(places: list[float], period: int, before: float) -> tuple[Span, ...]:
    """Teeth half as wide as the least pitch, with `before` of their width before each place."""
    width = min(_distances(places, period)) / 2
    return tuple((place - before * width, place + (1 - before) * width) for place in places)


def _distances(places: list[float], period: int) -> list[float]:
    following = [*places[1:], places[0] + period]
    return [after - place for place, after in zip(places, following, strict=True)]


def _crosses_midway(centres: list[float], between: list[float], period: int) -> bool:
    """True if `between` are midway from each centre to the next, and the centres are not even.

    That is what the sign of a VR sensor's voltage does, and hardly a toothed wheel by chance.
    """
    distances = _distances(centres, period)
    least = sorted(distances)[len(distances) // 4]
    if max(distances) - least < 2 * MIDWAY or len(between) != len(centres):
        return False
    off = {True: [0.0], False: [0.0]}
    for place, distance in zip(centres, distances, strict=True):
        middle = place + distance / 2
        away = min(abs((one - middle + period / 2) % period - period / 2) for one in between)
        off[distance > GAP * least].append(away)
    few = sum(away >= MIDWAY for away in off[False]) <= FEW_OFF * len(off[False])
    return few and max(off[True]) < MIDWAY


def _unlike(teeth: tuple[Span, ...]) -> int:
    """How many widths there are."""
    widths = sorted(end - begin for begin, end in teeth)
    return 1 + sum(after - before > MIDWAY for before, after in pairwise(widths))


def _origin(teeth: tuple[Span, ...], period: int) -> float:
    """The begin of the tooth after the longest way from tooth to tooth."""
    begins = sorted(begin % period for begin, _ in teeth)
    distances = _distances(begins, period)
    longest = max(distances)
    number = next(n for n, distance in enumerate(distances) if distance > longest - MIDWAY)
    return begins[(number + 1) % len(begins)]


def _turned(
    draft: _Draft, repeat: Repeat, repeats: float, scale: Scale, origin: float
) -> LearnedTrack:
    """A track in degrees of its shaft, all tracks turned alike."""
    shaft = scale.shafts[draft.name]
    turn_crank_deg = 360.0 if shaft == "crank" else 720.0
    per_slot = scale.repeat_deg / repeat.slots
    own = 360.0 / turn_crank_deg
    spans: list[Span] = []
    for copy in range(scale.copies):
        for begin, end in draft.teeth:
            crank = ((begin - origin) * per_slot + copy * scale.repeat_deg) % scale.period
            begin_deg = crank % turn_crank_deg * own
            spans.append((begin_deg, begin_deg + (end - begin) * per_slot * own))
    closest = min(_distances(sorted(begin for begin, _ in draft.teeth), repeat.slots))
    teeth = _merged(spans, min(closest * per_slot * own / 4, NEAR_DEG))
    spread = max(edge.spread for edge in repeat.edges if edge.track == draft.name)
    error_deg = MEDIAN_ERROR * spread / sqrt(max(repeats, 1.0)) * per_slot * own
    return LearnedTrack(
        draft.name, shaft, draft.kind, draft.metal, teeth, draft.width_known, draft.pulse_us,
        error_deg,
    )  # fmt: skip


def _merged(spans: list[Span], near: float) -> tuple[Span, ...]:
    """Teeth of several turns laid on one another, each the mean of those that coincide."""
    shifted = sorted(((b - 360, e - 360) if b > 360 - near else (b, e)) for b, e in spans)
    groups: list[list[Span]] = []
    for span in shifted:
        if groups and span[0] - groups[-1][0][0] < near:
            groups[-1].append(span)
        else:
            groups.append([span])
    means = [
        (sum(b for b, _ in group) / len(group), sum(e for _, e in group) / len(group))
        for group in groups
    ]
    # The tooth at the origin is the first one, also where an error puts it a little before.
    begins = [0.0 if -AT_ORIGIN_DEG < begin < 0 else begin % 360 for begin, _ in means]
    return tuple(
        sorted((b, b + end - begin) for b, (begin, end) in zip(begins, means, strict=True))
    )
