"""CSV and the like: rows of samples, with or without a time."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import numpy as np

from edgewheel.edges.captures.capture import Capture, table_of, track_names
from edgewheel.edges.captures.clock import FINEST_HZ, RowClock, column_unit
from edgewheel.edges.captures.crossings import Floats
from edgewheel.edges.captures.edgelists import OWN_HEADER, read_listed, read_own
from edgewheel.edges.captures.glitches import without_glitches
from edgewheel.edges.captures.options import ReadOptions, unit_words
from edgewheel.edges.captures.rows import looked_at, number_blocks
from edgewheel.edges.captures.sampled import Rule, SampleEdges, rule_for
from edgewheel.edges.captures.text import Layout, is_number
from edgewheel.edges.table import EdgeChunk
from edgewheel.errors import FileError, Place
from edgewheel.wheel.model import MOST_TRACKS

EVEN = 0.02
"""Share by which sample times may differ and still be evenly spaced."""

MOSTLY = 0.9
"""Share of the rows that must be of a kind for a column to be; the others are complained about."""

SAME_ROWS = 0.02
"""Share of the rows of a list of changes in which no signal changes: its ends, other signals'."""

_TIME = re.compile(r"\s*(t|time|timestamp|ticks?|seconds?|sample_?time)(\b|_).*", re.I)


def read_table(path: Path, layout: Layout, options: ReadOptions) -> Capture:
    """The capture in a text file of rows that are not a list of periods. Raises FileError."""
    if tuple(name.lower() for name in layout.names) == OWN_HEADER and options.time is None:
        return read_own(path, layout, options)
    time = _time_column(path, layout, options)
    named = None if time is None else _name_column(layout, time)
    if time is not None and named is not None:
        return read_listed(path, layout, options, time, *named)
    columns, rules = _signals(path, layout, options, time)
    if time is None:
        assert options.rate_hz is not None
        return _evenly(path, layout, options, columns, rules, options.rate_hz)
    return _timed(path, layout, options, time, columns, rules)


def _time_column(path: Path, layout: Layout, options: ReadOptions) -> int | None:
    if options.time is not None:
        return layout.column(options.time, path)
    if options.rate_hz is not None:
        return None
    for number, name in enumerate(layout.names):
        if layout.has_header and _TIME.fullmatch(name):
            return number
    if len(layout.names) > 1 and _grows(layout, 0):
        return 0
    raise FileError(
        Place(str(path)),
        f"no column tells the time: {layout.words()}",
        "Say which with --time, or the samples a second with --rate.",
    )


def _grows(layout: Layout, column: int) -> bool:
    """True if the first rows of a column ascend."""
    fields = [row[column] for row in layout.head if len(row) > column]
    values = [_value(field) for field in fields if is_number(field)]
    rising = sum(after >= before for before, after in pairwise(values))
    return len(values) > 1 and max(values) > values[0] and rising >= MOSTLY * (len(fields) - 1)


def _value(field: str) -> float:
    return float(field.replace(",", "."))


def _name_column(layout: Layout, time: int) -> tuple[int, int] | None:
    """The columns that name the signal and give its level, where each row is one edge."""
    if len(layout.names) < 3:
        return None
    for number in range(len(layout.names)):
        fields = [row[number] for row in layout.head if len(row) > number]
        if number != time and fields and not any(is_number(field) for field in fields):
            for other in range(len(layout.names)):
                levels = {row[other] for row in layout.head if len(row) > other}
                if other not in (time, number) and levels <= {"0", "1"}:
                    return number, other
    return None


def _signals(
    path: Path, layout: Layout, options: ReadOptions, time: int | None
) -> tuple[list[int], list[Rule]]:
    """The columns that are named, or of those that hold numbers the ones that change anywhere in
    the file, and how each becomes edges.
    """
    named = [layout.column(one, path) for one in options.columns]
    columns = np.array(named or _numeric_columns(path, layout, time))
    part = looked_at(path, layout, columns.tolist())
    if not named:
        changing = np.flatnonzero(np.ptp(part, axis=0))
        chosen = (changing if len(changing) else np.arange(len(columns)))[:MOST_TRACKS]
        columns, part = columns[chosen], part[:, chosen]
    rules = [
        rule_for(layout.names[column], part[:, number], options, str(path))
        for number, column in enumerate(columns)
    ]
    return columns.tolist(), rules


def _numeric_columns(path: Path, layout: Layout, time: int | None) -> list[int]:
    numeric = []
    for number in range(len(layout.names)):
        fields = [row[number] for row in layout.head if len(row) > number]
        if number != time and sum(map(is_number, fields)) >= MOSTLY * len(fields) > 0:
            numeric.append(number)
    if not numeric:
        problem = f"no column holds a signal: {layout.words()}"
        raise FileError(Place(str(path)), problem, "Say which with --column.")
    return numeric


def _timed(
    path: Path,
    layout: Layout,
    options: ReadOptions,
    time: int,
    columns: Sequence[int],
    rules: Sequence[Rule],
) -> Capture:
    """Rows of a time and the signals at it."""
    unit_s, said = column_unit(layout, time, options)
    names = [layout.names[column] for column in columns]
    edges = SampleEdges(rules)
    clock = RowClock(path, unit_s, options.wrap_bits, layout.first_row)
    steps: list[float] = []
    chunks: list[EdgeChunk] = []
    before, rows, same = np.empty(0), 0, 0
    for block in number_blocks(path, layout, (time, *columns)):
        ticks = clock.ticks(block[:, 0])
        known = np.concatenate([before, ticks])
        at = np.arange(rows - len(before), rows + len(ticks), dtype=np.float64)
        chunks.append(edges.chunk(block[:, 1:], _along(at, known)))
        if len(ticks) > 9:
            steps += np.quantile(np.diff(ticks), (0.05, 0.95)).tolist()
        before, rows = ticks, rows + len(ticks)
        same += int(np.count_nonzero(np.all(np.diff(block[:, 1:], axis=0) == 0, axis=1)))
    unit = f"{rows:,} rows, time in {layout.names[time]}, unit {unit_words(unit_s)} {said}"
    found = [layout.words(), unit, *(rule.words for rule in rules)]
    chunks, dropped = without_glitches(chunks, options.filter_s, FINEST_HZ)
    if same <= SAME_ROWS * rows and all(rule.two_levels for rule in rules):
        found.append("a row for each change")
        return table_of(path, FINEST_HZ, track_names(names), chunks, found + dropped)
    if steps and max(steps) - min(steps) <= EVEN * max(steps):
        rate = Fraction(round(FINEST_HZ * len(steps) / sum(steps)))
        found.append(f"sampled evenly, {int(rate):,} a second")
        found += [] if dropped else edges.check(names, rate, str(path))
    step_s = max(steps, default=0.0) / FINEST_HZ
    return table_of(path, FINEST_HZ, track_names(names), chunks, found + dropped, step_s)


def _along(places: Floats, ticks: Floats) -> Callable[[Floats], Floats]:
    """From places in samples to ticks, in a line between two samples."""

    def at(wanted: Floats) -> Floats:
        return np.asarray(np.interp(wanted, places, ticks))

    return at


def _evenly(
    path: Path,
    layout: Layout,
    options: ReadOptions,
    columns: Sequence[int],
    rules: Sequence[Rule],
    rate_hz: Fraction,
) -> Capture:
    """Rows of samples at a rate that was said."""
    names = [layout.names[column] for column in columns]
    edges = SampleEdges(rules)
    fine = max(int(FINEST_HZ / rate_hz), 1)
    chunks = [
        edges.chunk(block, lambda places: places * fine)
        for block in number_blocks(path, layout, tuple(columns))
    ]
    tick_hz = round(rate_hz * fine)
    found = [layout.words(), f"samples at {float(rate_hz):,.0f} a second, as was said"]
    found += [rule.words for rule in rules]
    chunks, dropped = without_glitches(chunks, options.filter_s, tick_hz)
    found += [] if dropped else edges.check(names, rate_hz, str(path))
    step_s = float(1 / rate_hz)
    return table_of(path, tick_hz, track_names(names), chunks, found + dropped, step_s)
