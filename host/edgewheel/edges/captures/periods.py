"""Lists of tooth periods: what loggers and controllers write, and customers send most.

One number a line: the time from one edge to the next, in any unit, or a counter that ran on and
wrapped. Only one edge of each tooth was measured, so widths are unknown; half a period is drawn.
"""

from __future__ import annotations

import re
from fractions import Fraction
from os import SEEK_END
from pathlib import Path

import numpy as np

from edgewheel.edges.captures.capture import Capture, table_of, track_names
from edgewheel.edges.captures.clock import FINEST_HZ, header_unit
from edgewheel.edges.captures.crossings import Floats
from edgewheel.edges.captures.options import ReadOptions, unit_seconds, unit_words
from edgewheel.edges.captures.rows import number_blocks
from edgewheel.edges.captures.text import Layout
from edgewheel.edges.table import EdgeChunk, Ticks
from edgewheel.errors import FileError, Place

COUNTER_BITS = (8, 16, 24, 32)
LEAST_COUNTS = 4

FIRST_WITHIN = 20
"""Usual periods within which a list of times begins, and a counter goes on behind its wrap: a list
of ever longer intervals ascends, too.
"""

FASTEST_S, SLOWEST_S = 50e-6, 0.5
"""Between these the usual tooth period of an engine lies; the unit that puts it there is taken."""

LIKELY_UNITS = ("us", "ms", "s", "ns")

TORN = 0.3
"""Usual periods below which a last number without a line's end behind it is a part of one."""

_PERIOD = re.compile(r".*(period|interval|delta|\bdt\b|tooth ?time|diff).*", re.I)


def periods_column(layout: Layout, options: ReadOptions) -> int | None:
    """The column that holds tooth periods, None if the file is no list of them."""
    if options.kind in ("samples", "edges") or options.rate_hz is not None:
        return None
    if options.kind == "auto" and (options.time is not None or len(layout.names) > 3):
        return None
    named = [
        n for n, name in enumerate(layout.names) if layout.has_header and _PERIOD.fullmatch(name)
    ]
    if named:
        return named[0]
    if len(layout.names) == 1:
        return 0
    return len(layout.names) - 1 if options.kind == "periods" else None


def read_periods(path: Path, layout: Layout, options: ReadOptions) -> Capture:
    """The capture in a list of tooth periods. Raises FileError."""
    column = periods_column(layout, options)
    if options.columns:
        column = layout.column(options.columns[0], path)
    assert column is not None
    blocks = list(number_blocks(path, layout, (column,)))
    values = np.concatenate(blocks)[:, 0] if blocks else np.empty(0)
    if len(values) < 3:
        raise FileError(
            Place(str(path)),
            f"only {len(values)} numbers are in it",
            "Log some turns of the wheel.",
        )
    periods, counted = _intervals(values, options.wrap_bits)
    torn = _is_torn(path, periods)
    periods = periods[:-1] if torn else periods
    _refuse_hopeless(path, periods, values, layout)
    unit_s, said = _unit(layout, column, periods, options)
    name = track_names([layout.names[column]])[0] if layout.has_header else "crank"
    times = np.concatenate([[0.0], np.cumsum(periods)]) * float(unit_s * FINEST_HZ)
    found = [
        layout.words(),
        f"{len(values):,} {counted}, unit {unit_words(unit_s)} {said}",
        f"one edge a tooth, taken for the {options.edge}: widths are not known",
    ]
    chunk = _with_widths(np.rint(times).astype(np.int64), options.edge == "rise")
    if torn:
        found.append("the last line is cut off in the middle of a number and left out")
    whole = bool(np.all(values == np.rint(values)))
    step_s = float(unit_s) if whole else 0.0
    capture = table_of(path, FINEST_HZ, (name,), [chunk], found, step_s)
    return capture.with_one_edge(name, int(options.edge == "rise"))


def _is_torn(path: Path, periods: Floats) -> bool:
    """True if the file ends within a line, whose number is far too small to be whole."""
    with path.open("rb") as file:
        file.seek(-1, SEEK_END)
        if file.read() in b"\r\n":
            return False
    return len(periods) > 4 and 0 < float(periods[-1]) < TORN * float(np.median(periods))


def _intervals(values: Floats, wrap_bits: int | None) -> tuple[Floats, str]:
    """Intervals between edges, and how they were made from the numbers."""
    steps = np.diff(values)
    whole = bool(np.all(values == np.rint(values)))
    bits = wrap_bits or next((b for b in COUNTER_BITS if np.abs(values).max() < 2**b), None)
    usual = float(np.median(steps))
    if usual > 0 and bits is not None and whole and _wraps(steps, usual, 2**bits):
        return steps % 2**bits, f"counts of a counter of {bits} bits that wrapped"
    if bool(np.all(steps > 0)) and float(values[0]) < FIRST_WITHIN * usual:
        return steps, "times of edges"
    if whole and bits is not None and (values < 0).any():
        return values % 2**bits, f"intervals of a counter of {bits} bits that wrapped"
    return values, "intervals"


def _wraps(steps: Floats, usual: float, full: int) -> bool:
    """True if numbers ascend but for where a counter of `full` counts began anew."""
    down = steps[steps < 0]
    return len(down) > 0 and bool(np.all(down + full < FIRST_WITHIN * usual))


def _refuse_hopeless(path: Path, periods: Floats, values: Floats, layout: Layout) -> None:
    if (periods <= 0).any():
        number = int(np.argmax(periods <= 0))
        raise FileError(
            Place(str(path), layout.first_row + number + 1),
            f"a tooth period of {periods[number]:g} cannot be",
            "If a counter wrapped, say its bits with --wrap; else choose another --column.",
        )
    if len(np.unique(values)) == 1:
        raise FileError(
            Place(str(path)),
            f"every number in it is {values[0]:g}: an even wheel at a speed that never changes, or "
            "a column of something else",
            "Choose another column with --column.",
        )
    shortest = float(np.quantile(periods, 0.01))
    if bool(np.all(periods == np.rint(periods))) and shortest < LEAST_COUNTS:
        raise FileError(
            Place(str(path)),
            f"its clock is too coarse: the shortest periods are {shortest:.0f} counts",
            f"Log with a clock at least {round(10 * LEAST_COUNTS / shortest)} times as fast.",
        )


def _unit(
    layout: Layout, column: int, periods: Floats, options: ReadOptions
) -> tuple[Fraction, str]:
    if options.unit_s is not None:
        return options.unit_s, "as was said"
    unit_s = header_unit(layout, column)
    if unit_s is not None:
        return unit_s, "as the header says"
    usual = float(np.median(periods))
    for name in LIKELY_UNITS:
        unit = unit_seconds(name)
        if FASTEST_S <= usual * float(unit) <= SLOWEST_S:
            return unit, "taken, since it gives an engine's speed; set --unit"
    return Fraction(1, 10**6), "taken; set --unit"


def _with_widths(real: Ticks, rises: bool) -> EdgeChunk:
    """The real edges with drawn ones in between, as wide as half the shorter neighbour period."""
    periods = np.diff(real)
    least = np.minimum(periods, np.append(periods[1:], periods[-1]))
    drawn = real[:-1] + np.maximum(least // 2, 1)
    ticks = np.empty(2 * len(real) - 1, np.int64)
    ticks[::2], ticks[1::2] = real, drawn
    level = np.tile(np.array([1, 0] if rises else [0, 1], np.uint8), len(real))[: len(ticks)]
    return EdgeChunk(ticks, np.zeros(len(ticks), np.uint8), level)
