"""Motion files: YAML with a list of segments, and speed tables in CSV."""

from __future__ import annotations

import csv
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from edgewheel.errors import FileError, Place, UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple, Ripple
from edgewheel.motion.segment import HIGHEST_RPM, Segment, hold, ramp
from edgewheel.yamlfile import Node, Section, load, parse_number, read_text

MOST_COMPRESSIONS = 12
LONGEST_S = 366 * 24 * 3600
MOST_TURNS = 10**9
_LENGTHS = ("seconds", "turns", "rate")


def load_motion(path: Path) -> Motion:
    """The motion in a file. Raises FileError."""
    return read_motion(load(path), path.parent)


def read_motion(node: Node, folder: Path) -> Motion:
    """The motion in a mapping; speed tables are found from `folder`. Raises FileError."""
    section = node.section()
    form = section.optional("format")
    if form is not None and form.integer() != 1:
        raise form.refuse("this format is not known", "Write 'format: 1'.")
    name = section.optional("name")
    if name is not None:
        name.text()
    start = section.optional("start")
    ripple_node = section.optional("ripple")
    ripple = read_ripple(ripple_node) if ripple_node else None
    motion = Motion(start_deg=start.number(0, below=720) if start else Fraction(0))
    segments = section.required("segments")
    section.finish()
    if not segments.items():
        raise segments.refuse("there are no segments", "Write at least one '- hold: RPM'.")
    for item in segments.items():
        for segment in _read_item(item, motion, ripple, folder):
            motion.append(segment)
    return motion


def read_ripple(node: Node) -> Ripple | None:
    """A ripple's `depth`, `per_turn` and `slowest_at`; None for a depth of 0. Raises FileError."""
    section = node.section()
    depth = section.required("depth").number(0, below=1)
    per_turn_node = section.optional("per_turn")
    per_turn = per_turn_node.number(above=0, maximum=MOST_COMPRESSIONS) if per_turn_node else None
    at = section.optional("slowest_at")
    slowest_at = at.number(0, below=720) if at else Fraction(0)
    section.finish()
    if depth == 0:
        return None
    if per_turn is None:
        remedy = "Add 'per_turn:', compressions a turn: half the cylinders of a four-stroke."
        raise node.refuse("'per_turn' is missing", remedy)
    if (per_turn * 2).denominator != 1:
        raise node.refuse(
            f"{per_turn} compressions a turn do not fit two turns",
            "Write 1/2, 1, 3/2, 2 and so on.",
        )
    return CompressionRipple(depth, per_turn, slowest_at)


def _read_item(node: Node, motion: Motion, ripple: Ripple | None, folder: Path) -> list[Segment]:
    section = node.section()
    own = section.optional("ripple")
    if own is not None:
        ripple = read_ripple(own)
    kinds = [kind for kind in ("hold", "ramp", "table") if section.optional(kind)]
    if len(kinds) != 1:
        remedy = "Write exactly one of hold, ramp and table in each segment."
        raise node.refuse(f"this segment has {len(kinds)} kinds of motion", remedy)
    try:
        if kinds == ["hold"]:
            segments = [_read_hold(section, ripple)]
        elif kinds == ["ramp"]:
            segments = [_read_ramp(section, motion, ripple)]
        else:
            segments = _read_table(section, ripple, folder)
    except UsageError as error:
        raise node.refuse(*_two_sentences(str(error))) from error
    section.finish()
    return segments


def _read_hold(section: Section, ripple: Ripple | None) -> Segment:
    rpm = _direction(section) * _rpm(section.required("hold"))
    seconds, turns, _ = _read_length(section, ("seconds", "turns"))
    return hold(rpm, seconds=seconds, turns=turns, ripple=ripple)


def _read_ramp(section: Section, motion: Motion, ripple: Ripple | None) -> Segment:
    direction = _direction(section)
    end_rpm = direction * _rpm(section.required("ramp"))
    begin = section.optional("from")
    if begin is not None:
        begin_rpm = direction * _rpm(begin)
    elif len(motion):
        begin_rpm = motion[len(motion) - 1].segment.rpm_end
    else:
        begin_rpm = Fraction(0)
    seconds, turns, rate = _read_length(section, _LENGTHS)
    return ramp(begin_rpm, end_rpm, seconds=seconds, turns=turns, rpm_per_s=rate, ripple=ripple)


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


def _read_table(section: Section, ripple: Ripple | None, folder: Path) -> list[Segment]:
    path = folder / section.required("table").text()
    points = read_speed_table(path)
    return [
        Segment(end_s - begin_s, begin_rpm, end_rpm, ripple)
        for (begin_s, begin_rpm), (end_s, end_rpm) in pairwise(points)
    ]


def read_speed_table(path: Path) -> list[tuple[Fraction, Fraction]]:
    """The (seconds, rpm) points of a CSV with the header `time,rpm`; speed is linear in between.

    Raises FileError with the line where times do not ascend or a field is no number.
    """
    rows = list(csv.reader(read_text(path).splitlines()))
    if not rows or [field.strip() for field in rows[0]] != ["time", "rpm"]:
        raise FileError(Place(str(path), 1), "the header is not 'time,rpm'", "Write 'time,rpm'.")
    points: list[tuple[Fraction, Fraction]] = []
    for line, row in enumerate(rows[1:], 2):
        if not row:
            continue
        place = Place(str(path), line)
        values = [parse_number(field) for field in row]
        if len(values) != 2 or values[0] is None or values[1] is None:
            raise FileError(place, f"'{','.join(row)}' is not a point", "Write 'seconds,rpm'.")
        seconds, rpm = values[0], values[1]
        if points and seconds <= points[-1][0]:
            raise FileError(place, "time does not ascend", "Sort the rows; no time twice.")
        if not 0 <= rpm <= HIGHEST_RPM:
            remedy = f"Stay within 0 and {HIGHEST_RPM} rpm."
            raise FileError(place, f"{row[1].strip()} rpm is out of range", remedy)
        points.append((seconds, rpm))
    if len(points) < 2:
        raise FileError(Place(str(path)), "there are fewer than two points", "Add 'seconds,rpm'.")
    return points


def _rpm(node: Node) -> Fraction:
    rpm = node.number(maximum=HIGHEST_RPM)
    if rpm < 0:
        remedy = "Write it without the sign, and 'reverse: true' if the engine turns backwards."
        raise node.refuse(f"{node.content} rpm is negative", remedy)
    return rpm


def _direction(section: Section) -> int:
    reverse = section.optional("reverse")
    return -1 if reverse is not None and reverse.flag() else 1


def _two_sentences(text: str) -> tuple[str, str]:
    problem, _, remedy = text.partition(". ")
    return problem[:1].lower() + problem[1:], remedy
