"""The `segments:` of a motion file: holds, ramps and manoeuvres, each from where the last ended."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from edgewheel.errors import UsageError
from edgewheel.motion.manoeuvres import RippleSource, rock, run_down, under_ripple
from edgewheel.motion.ripple_reading import read_ripple, two_sentences
from edgewheel.motion.segment import HIGHEST_RPM, Segment, hold, ramp
from edgewheel.motion.speed_table import table_segments
from edgewheel.yamlfile import Node, Section

LONGEST_S = 366 * 24 * 3600
MOST_TURNS = 10**9
MOST_REPEATS = 10_000
MOST_SEGMENTS = 100_000
MOST_ROCK_DEG = 180
MOST_SWINGS = 20
FASTEST_RATE = 10**6
_LENGTHS = ("seconds", "turns", "rate")


@dataclass(frozen=True)
class Standing:
    """What a segment finds: the speed so far, the ripple in force, where other files are."""

    rpm: Fraction
    ripple: RippleSource
    folder: Path


def read_segments(node: Node, standing: Standing) -> list[Segment]:
    """The segments of a list. Raises FileError."""
    if not node.items():
        raise node.refuse("there are no segments", "Write at least one '- hold: RPM'.")
    segments: list[Segment] = []
    for item in node.items():
        for segment in _read_item(item, standing):
            segments.append(segment)
            standing = Standing(segment.rpm_end, standing.ripple, standing.folder)
        if len(segments) > MOST_SEGMENTS:
            remedy = "Repeat less often, or let a run be started anew."
            raise item.refuse(f"this makes over {MOST_SEGMENTS:,} pieces of motion", remedy)
    return segments


def _read_item(node: Node, standing: Standing) -> Iterator[Segment]:
    section = node.section()
    own = section.optional("ripple")
    if own is not None:
        standing = Standing(standing.rpm, read_ripple(own), standing.folder)
    kinds = [kind for kind in _KINDS if section.optional(kind)]
    if len(kinds) != 1:
        remedy = f"Write exactly one of {', '.join(_KINDS)} in each segment."
        raise node.refuse(f"this segment has {len(kinds)} kinds of motion", remedy)
    try:
        segments = _KINDS[kinds[0]](section, standing)
        section.finish()
        if kinds[0] not in _OWN_RIPPLE:
            segments = [p for one in segments for p in under_ripple(one, standing.ripple)]
    except UsageError as error:
        raise node.refuse(*two_sentences(error)) from error
    yield from segments


def _read_hold(section: Section, standing: Standing) -> list[Segment]:
    rpm = _direction(section) * _rpm(section.required("hold"))
    seconds, turns, _ = _read_length(section, ("seconds", "turns"))
    return [hold(rpm, seconds=seconds, turns=turns)]


def _read_ramp(section: Section, standing: Standing) -> list[Segment]:
    direction = _direction(section)
    end_rpm = direction * _rpm(section.required("ramp"))
    begin = section.optional("from")
    begin_rpm = direction * _rpm(begin) if begin is not None else standing.rpm
    seconds, turns, rate = _read_length(section, _LENGTHS)
    return [ramp(begin_rpm, end_rpm, seconds=seconds, turns=turns, rpm_per_s=rate)]


def _read_shift(section: Section, standing: Standing) -> list[Segment]:
    """A change of gear: speed times the ratio of the two gears, at a rate."""
    factor = section.required("shift").number(above=0, maximum=10)
    seconds, _, rate = _read_length(section, ("seconds", "rate"))
    if standing.rpm == 0:
        raise UsageError("The engine is at rest when the gear is changed. Put a ramp before it.")
    return [ramp(standing.rpm, standing.rpm * factor, seconds=seconds, rpm_per_s=rate)]


def _read_table(section: Section, standing: Standing) -> list[Segment]:
    return table_segments(standing.folder / section.required("table").text())


def _read_run_down(section: Section, standing: Standing) -> list[Segment]:
    inner = section.required("run_down").section()
    friction = inner.required("friction").number(above=0, maximum=FASTEST_RATE)
    drag_node = inner.optional("drag")
    drag = drag_node.number(0, 1000) if drag_node else Fraction(0)
    inner.finish()
    return run_down(standing.rpm, friction, drag)


def _read_rock(section: Section, standing: Standing) -> list[Segment]:
    own = section.optional("ripple")
    if own is not None:
        raise own.refuse("a rocking engine has no mean speed to ripple about", "Remove 'ripple'.")
    node = section.required("rock")
    degrees = node.number(above=0, maximum=MOST_ROCK_DEG)
    seconds = section.required("seconds").number(above=0, maximum=3600)
    swings_node, keeps_node = section.optional("swings"), section.optional("keeps")
    swings = swings_node.integer(1, MOST_SWINGS) if swings_node else 1
    keeps = keeps_node.number(above=0, maximum=1) if keeps_node else Fraction(1, 2)
    if standing.rpm != 0:
        remedy = "Let it run down, or ramp to 0, before it rocks."
        raise node.refuse(f"the engine still turns at {float(standing.rpm):g} rpm here", remedy)
    return rock(degrees, seconds, swings, keeps)


def _read_repeat(section: Section, standing: Standing) -> list[Segment]:
    node = section.required("repeat")
    times = node.integer(1, MOST_REPEATS)
    inner = section.required("segments")
    rounds: list[list[Segment]] = []
    for _ in range(times):
        segments = read_segments(inner, standing)
        standing = Standing(segments[-1].rpm_end, standing.ripple, standing.folder)
        if len(segments) * times > MOST_SEGMENTS:
            remedy = "Repeat less often."
            raise node.refuse(f"this makes over {MOST_SEGMENTS:,} pieces of motion", remedy)
        rounds.append(segments)
    return [segment for segments in rounds for segment in segments]


_KINDS: Mapping[str, Callable[[Section, Standing], list[Segment]]] = {
    "hold": _read_hold,
    "ramp": _read_ramp,
    "shift": _read_shift,
    "table": _read_table,
    "run_down": _read_run_down,
    "rock": _read_rock,
    "repeat": _read_repeat,
}

_OWN_RIPPLE = ("rock", "repeat")
"""Kinds whose segments have what ripple they need already."""


def _read_length(
    section: Section, allowed: tuple[str, ...]
) -> tuple[Fraction | None, Fraction | None, Fraction | None]:
    """Seconds, turns and rate, of which exactly one is given."""
    given = {key: node for key in allowed if (node := section.optional(key)) is not None}
    if len(given) != 1:
        remedy = f"Write exactly one of {', '.join(allowed)}."
        raise section.node.refuse(f"this segment has {len(given)} lengths", remedy)
    ((key, node),) = given.items()
    limit = MOST_TURNS if key == "turns" else LONGEST_S
    value = node.number(above=0, maximum=limit)
    seconds, turns, rate = (value if key == name else None for name in _LENGTHS)
    return seconds, turns, rate


def _rpm(node: Node) -> Fraction:
    rpm = node.number(maximum=HIGHEST_RPM)
    if rpm < 0:
        remedy = "Write it without the sign, and 'reverse: true' if the engine turns backwards."
        raise node.refuse(f"{node.content} rpm is negative", remedy)
    return rpm


def _direction(section: Section) -> int:
    reverse = section.optional("reverse")
    return -1 if reverse is not None and reverse.flag() else 1
