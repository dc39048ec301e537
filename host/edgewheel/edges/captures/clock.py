"""The times of rows: their unit, and counters that wrap."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice
from pathlib import Path

import numpy as np

from edgewheel.edges.captures.crossings import Floats
from edgewheel.edges.captures.options import ReadOptions, unit_seconds
from edgewheel.edges.captures.text import Layout
from edgewheel.errors import FileError, Place

FINEST_HZ = 10**9

_UNIT = re.compile(r"[\[(_ ](ps|ns|us|µs|μs|ms|s|sec)[\])]?\s*$", re.I)


def header_unit(layout: Layout, column: int) -> Fraction | None:
    """Seconds of the unit at the end of a column's name, None if there is none."""
    match = _UNIT.search(layout.names[column]) if layout.has_header else None
    return unit_seconds(match[1].lower().replace("sec", "s")) if match else None


def refuse_backwards(path: Path, ticks: Floats, last: float, first_line: int, rows: int) -> None:
    """Raises FileError, with the line, if times (n,) run backwards, or go on before `last`.

    `first_line` counts the lines before the first row, `rows` the rows before these times.
    """
    steps = np.diff(ticks, prepend=last)
    if len(steps) and float(steps.min()) < 0:
        row = int(np.argmin(steps >= 0))
        before = last if row == 0 else ticks[row - 1]
        raise FileError(
            Place(str(path), _line_of(path, first_line, rows + row)),
            f"its clock runs backwards: {ticks[row]:g} comes after {before:g}",
            "Sort the rows; if a counter wrapped, say its bits with --wrap.",
        )


def _line_of(path: Path, first_line: int, row: int) -> int:
    """The line, from 1, of a row, from 0; empty lines and comments are no rows."""
    with path.open("rb") as file:
        rows = (
            number
            for number, line in enumerate(file, 1)
            if number > first_line and line.partition(b"#")[0].strip()
        )
        return next(islice(rows, row, None), 0)


def column_unit(layout: Layout, time: int, options: ReadOptions) -> tuple[Fraction, str]:
    """Seconds that 1 in the time column stands for, and how that is known."""
    if options.unit_s is not None:
        return options.unit_s, "as was said"
    unit_s = header_unit(layout, time)
    if unit_s is not None:
        return unit_s, "as the header says"
    whole = all(re.fullmatch(r"\s*\d+\s*", row[time]) for row in layout.head)
    if whole:
        return Fraction(1, 10**6), "taken, since whole numbers are hardly seconds; set --unit"
    return Fraction(1), "taken, since the header names no unit; set --unit"


@dataclass
class RowClock:
    """Times of rows as ticks from the first row on, the counter's wraps undone."""

    path: Path
    unit_s: Fraction
    wrap_bits: int | None
    first_line: int
    rows: int = 0
    origin: float | None = None
    last: float = -np.inf
    wraps: float = 0.0
    last_raw: float = -np.inf

    def ticks(self, times: Floats) -> Floats:
        """Ticks (n,) of a nanosecond, fractions included. Raises FileError if times run back."""
        if self.wrap_bits is not None:
            steps = np.diff(times, prepend=self.last_raw)
            self.last_raw = float(times[-1])
            wrapped = self.wraps + np.cumsum(steps < 0) * float(2**self.wrap_bits)
            times, self.wraps = times + wrapped, float(wrapped[-1])
        if self.origin is None:
            self.origin = float(times[0])
        refuse_backwards(self.path, times, self.last, self.first_line, self.rows)
        self.last, self.rows = float(times[-1]), self.rows + len(times)
        return np.asarray((times - self.origin) * float(self.unit_s * FINEST_HZ))
