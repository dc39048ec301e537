"""Speed tables: CSV of seconds and rpm, such as a log of a drive."""

from __future__ import annotations

import csv
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

from edgewheel.errors import FileError, Place
from edgewheel.motion.segment import HIGHEST_RPM, Segment
from edgewheel.yamlfile import parse_number, read_text


def table_segments(path: Path) -> list[Segment]:
    """The motion of a speed table, linear between its points. Raises FileError."""
    return [
        Segment(end_s - begin_s, begin_rpm, end_rpm)
        for (begin_s, begin_rpm), (end_s, end_rpm) in pairwise(read_speed_table(path))
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
        if row:
            points.append(_point(row, Place(str(path), line), points))
    if len(points) < 2:
        raise FileError(Place(str(path)), "there are fewer than two points", "Add 'seconds,rpm'.")
    return points


def _point(
    row: list[str], place: Place, before: list[tuple[Fraction, Fraction]]
) -> tuple[Fraction, Fraction]:
    values = [parse_number(field) for field in row]
    if len(values) != 2 or values[0] is None or values[1] is None:
        raise FileError(place, f"'{','.join(row)}' is not a point", "Write 'seconds,rpm'.")
    seconds, rpm = values[0], values[1]
    if before and seconds <= before[-1][0]:
        raise FileError(place, "time does not ascend", "Sort the rows; no time twice.")
    if not 0 <= rpm <= HIGHEST_RPM:
        remedy = f"Stay within 0 and {HIGHEST_RPM} rpm."
        raise FileError(place, f"{row[1].strip()} rpm is out of range", remedy)
    return seconds, rpm
