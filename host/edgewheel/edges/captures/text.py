"""What a text file of numbers looks like: its delimiter, header and columns, found and said."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from edgewheel.edges.captures.options import ReadOptions
from edgewheel.errors import FileError, Place

HEAD_BYTES, HEAD_LINES = 1 << 16, 2000
COMMENT = ("#", "%", "//")
DELIMITERS = (",", ";", "\t", "|", " ")
_NUMBER = re.compile(r"\s*[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\s*")

NAMES = {
    ",": "comma",
    ";": "semicolon",
    "\t": "tab",
    "|": "bar",
    " ": "space",
}


@dataclass(frozen=True)
class Layout:
    """How the rows of a text file are made.

    `names` are the columns' names, from the header or col_1 and so on; `first_row` counts the lines
    before the first row; `head` are the fields of the first rows. `notes` are comments before them.
    """

    delimiter: str
    decimal_comma: bool
    names: tuple[str, ...]
    has_header: bool
    first_row: int
    head: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]

    def words(self) -> str:
        """What was found."""
        parts = []
        if len(self.names) > 1:
            parts.append(f"fields part at each {NAMES.get(self.delimiter, repr(self.delimiter))}")
        if self.decimal_comma:
            parts.append("decimal commas")
        parts.append(f"header {', '.join(self.names)}" if self.has_header else "no header")
        return ", ".join(parts)

    def column(self, wanted: str, path: Path) -> int:
        """The index of a column given by name or number from 1. Raises FileError."""
        if wanted in self.names:
            return self.names.index(wanted)
        lower = [name.lower() for name in self.names]
        if wanted.lower() in lower:
            return lower.index(wanted.lower())
        if wanted.isdecimal() and 1 <= int(wanted) <= len(self.names):
            return int(wanted) - 1
        raise FileError(
            Place(str(path)),
            f"there is no column '{wanted}'",
            f"Choose from {', '.join(self.names)}, or a number from 1 to {len(self.names)}.",
        )


def layout_of(path: Path, options: ReadOptions) -> Layout:
    """The layout of a text file, from its first lines. Raises FileError."""
    with path.open("rb") as file:
        data = file.read(HEAD_BYTES)
    if not data.strip():
        raise FileError(Place(str(path)), "the file is empty", "Capture again, or export it anew.")
    try:
        text = data.decode("utf-8-sig", errors="strict" if len(data) < HEAD_BYTES else "ignore")
    except UnicodeDecodeError as error:
        raise FileError(
            Place(str(path)),
            "the file is neither text nor a VCD or WAV file",
            "Export it as CSV, VCD or WAV.",
        ) from error
    lines = text.splitlines()
    if len(data) == HEAD_BYTES:
        lines = lines[:-1]  # The last one may be cut by the end of what was read.
    return _layout(path, lines[:HEAD_LINES], options)


def _layout(path: Path, lines: list[str], options: ReadOptions) -> Layout:
    notes = [line.lstrip("#%/ ") for line in lines if line.startswith(COMMENT)]
    rows = [
        (n, line) for n, line in enumerate(lines) if line.strip() and not line.startswith(COMMENT)
    ]
    delimiter = options.delimiter or _delimiter([line for _, line in rows])
    split = [(number, _fields(line, delimiter)) for number, line in rows]
    first = next((n for n, (_, fields) in enumerate(split) if _is_row(fields)), None)
    if first is None:
        shown = rows[0][1][:60] if rows else ""
        raise FileError(
            Place(str(path), rows[0][0] + 1 if rows else 0),
            f"no line in it begins with a number; the first is '{shown}'",
            "Export rows of numbers, or say the --delimiter.",
        )
    head = [fields for _, fields in split[first:]]
    width = len(head[0])
    above = split[first - 1][1] if first else []
    has_header = len(above) == width and not all(_NUMBER.fullmatch(field) for field in above)
    if delimiter == "," and not has_header and _may_be_decimals(head[:-1], options):
        raise _two_or_one(path, rows[first])
    names = (
        [n.strip().strip('"') for n in above]
        if has_header
        else [f"col_{n + 1}" for n in range(width)]
    )
    comma = delimiter != "," and any("," in field for field in head[0])
    return Layout(
        delimiter, comma, tuple(names), has_header, split[first][0],
        tuple(tuple(fields) for fields in head), tuple(notes),
    )  # fmt: skip


def _may_be_decimals(rows: Sequence[Sequence[str]], options: ReadOptions) -> bool:
    """True if whole numbers by twos may be decimals with commas: the first is no time that ascends,
    and nothing was said of the columns.
    """
    said = options.delimiter or options.time or options.rate_hz or options.wrap_bits
    whole = all(len(row) == 2 and all(map(str.isdecimal, row)) for row in rows)
    if said or options.kind != "auto" or not rows or not whole:
        return False
    firsts = [int(row[0]) for row in rows]
    return firsts[0] == max(firsts) or any(after < before for before, after in pairwise(firsts))


def _two_or_one(path: Path, row: tuple[int, str]) -> FileError:
    return FileError(
        Place(str(path), row[0] + 1),
        f"'{row[1][:60]}' is a number with a decimal comma, or two, of which the first is no time: "
        "it does not ascend",
        "For decimal commas say --delimiter ';'; for two columns, the samples a second with --rate "
        "or, if a counter wrapped, its bits with --wrap.",
    )


def _delimiter(lines: list[str]) -> str:
    """The delimiter that parts most lines into as many fields, more than one if there is such."""
    some = lines[-200:] if len(lines) > 200 else lines[1:] or lines
    best, best_score = ",", 0.0
    for delimiter in DELIMITERS:
        counts = [len(_fields(line, delimiter)) for line in some]
        usual = max(set(counts), key=counts.count)
        numeric = sum(_numeric(_fields(line, delimiter)) for line in some) / len(some)
        score = (counts.count(usual) / len(counts)) * numeric * (usual > 1)
        if score > best_score + 0.05:
            best, best_score = delimiter, score
    return best


def _fields(line: str, delimiter: str) -> list[str]:
    if delimiter == " ":
        return line.split()
    quoted = '"' in line
    fields = next(csv.reader([line], delimiter=delimiter)) if quoted else line.split(delimiter)
    return [field.strip() for field in fields]


def _numeric(fields: list[str]) -> float:
    """The share of the fields that are numbers, 0 if the first is none."""
    return sum(map(is_number, fields)) / len(fields) if _is_row(fields) else 0.0


def _is_row(fields: list[str]) -> bool:
    """True if the line is one of numbers: the first field is, and no empty ones."""
    return bool(fields) and bool(_NUMBER.fullmatch(fields[0])) and all(fields)


def is_number(text: str) -> bool:
    """True if a field is a number, a decimal comma allowed."""
    return bool(_NUMBER.fullmatch(text))
