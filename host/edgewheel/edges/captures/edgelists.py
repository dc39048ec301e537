"""Rows of one edge each: our own edge tables, and lists of time, signal and level."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import numpy as np

from edgewheel.edges.captures.capture import Capture, table_of, track_names
from edgewheel.edges.captures.clock import FINEST_HZ, RowClock, column_unit, refuse_backwards
from edgewheel.edges.captures.crossings import Floats
from edgewheel.edges.captures.glitches import without_glitches
from edgewheel.edges.captures.options import ReadOptions, unit_words
from edgewheel.edges.captures.rows import number_blocks
from edgewheel.edges.captures.text import Layout
from edgewheel.edges.table import EdgeChunk
from edgewheel.errors import FileError, Place, UsageError
from edgewheel.wheel.model import MOST_TRACKS

OWN_HEADER = ("tick", "track", "level")
OWN_TICK_HZ = 125_000_000

_NOTE = re.compile(r"(\d+) ticks a second(?:.*one edge of (\w+): (rise|fall))?")


def read_own(path: Path, layout: Layout, options: ReadOptions) -> Capture:
    """An edge table of ours; its tick rate stands in a comment, or is what compile takes."""
    note = next((m for line in layout.notes if (m := _NOTE.search(line))), None)
    if options.unit_s is not None:
        tick_hz, said = 1 / options.unit_s, "as was said"
    elif note:
        tick_hz, said = Fraction(int(note[1])), "as its comment says"
    else:
        tick_hz, said = Fraction(OWN_TICK_HZ), "taken, since the file does not say; set --unit"
    if tick_hz.denominator != 1:
        raise UsageError("The ticks of an edge table must come a whole number of times a second.")
    names, blocks = _blocks(path, layout, (0, 1, 2))
    chunks = []
    last, rows = -np.inf, 0
    for block in blocks:
        refuse_backwards(path, block[:, 0], last, layout.first_row, rows)
        last, rows = float(block[-1, 0]), rows + len(block)
        chunks.append(_edges(path, block[:, 0], block))
    found = [f"an edge table, {int(tick_hz):,} ticks a second {said}"]
    chunks, dropped = without_glitches(chunks, options.filter_s, int(tick_hz))
    capture = table_of(path, int(tick_hz), track_names(names), chunks, found + dropped)
    if note and note[2]:
        return capture.with_one_edge(note[2], 1 if note[3] == "rise" else 0)
    return capture


def _blocks(
    path: Path, layout: Layout, columns: tuple[int, int, int]
) -> tuple[list[str], list[Floats]]:
    """The names in the second column, and all rows with their numbers in its place.

    The first rows mostly have all names; where they have not, all rows are looked through.
    """
    names = list(dict.fromkeys(row[columns[1]] for row in layout.head if len(row) > max(columns)))
    try:
        return names, list(number_blocks(path, layout, columns, _numbers(names)))
    except FileError:
        more = _names_in(path, layout, columns[1])
        if len(more) == len(names):
            raise
        return more, list(number_blocks(path, layout, columns, _numbers(more)))


def _numbers(names: list[str]) -> dict[str, str]:
    return {name: str(number) for number, name in enumerate(names)}


def _edges(path: Path, ticks: Floats, block: Floats) -> EdgeChunk:
    """Rows (n, 3) as edges. Raises FileError for a level that is none."""
    level = block[:, 2]
    wrong = (level != 0) & (level != 1)
    if wrong.any():
        problem = f"a level of {level[np.argmax(wrong)]:g} is neither 0 nor 1"
        raise FileError(Place(str(path)), problem, "Choose another column with --column.")
    whole = np.rint(ticks).astype(np.int64)
    return EdgeChunk(whole, block[:, 1].astype(np.uint8), level.astype(np.uint8))


def _names_in(path: Path, layout: Layout, column: int) -> list[str]:
    """The different texts in a column, as they first come."""
    names: dict[str, None] = {}
    delimiter = None if layout.delimiter == " " else layout.delimiter
    with path.open(encoding="latin-1") as file:
        for number, line in enumerate(file):
            if number < layout.first_row or not line.strip():
                continue
            fields = line.split(delimiter)
            if len(fields) > column:
                names[fields[column].strip()] = None
            if len(names) > MOST_TRACKS:
                raise FileError(
                    Place(str(path), number + 1),
                    f"column {layout.names[column]} names more than {MOST_TRACKS} signals",
                    "Choose another column with --column.",
                )
    return list(names)


def read_listed(
    path: Path, layout: Layout, options: ReadOptions, time: int, name: int, level: int
) -> Capture:
    """Rows of one edge each: time, the signal's name, its level."""
    unit_s, said = column_unit(layout, time, options)
    clock = RowClock(path, unit_s, options.wrap_bits, layout.first_row)
    names, blocks = _blocks(path, layout, (time, name, level))
    chunks = [_edges(path, clock.ticks(block[:, 0]), block) for block in blocks]
    found = [layout.words(), f"one edge a row, unit {unit_words(unit_s)} {said}"]
    chunks, dropped = without_glitches(chunks, options.filter_s, FINEST_HZ)
    return table_of(path, FINEST_HZ, track_names(names), chunks, found + dropped)
