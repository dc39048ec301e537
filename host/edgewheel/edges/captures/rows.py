"""Rows of numbers in blocks, as quick as numpy reads them, with the line of what is wrong."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from pathlib import Path

import numpy as np
import numpy.typing as npt

from edgewheel.edges.captures.crossings import Floats
from edgewheel.edges.captures.text import COMMENT, Layout, is_number
from edgewheel.errors import FileError, Place

BLOCK_BYTES = 1 << 24
LOOKS, LOOK_BYTES = 48, 1 << 17
LOOKED_AT = 100


def number_blocks(
    path: Path,
    layout: Layout,
    columns: Sequence[int],
    words: Mapping[str, str] | None = None,
    block_bytes: int = BLOCK_BYTES,
) -> Iterator[Floats]:
    """The chosen columns in blocks (n, columns) of some hundred thousand rows.

    `words` are fields that stand for numbers. Raises FileError with the line that is wrong.
    """
    line = layout.first_row
    for data in _line_blocks(path, layout.first_row, block_bytes):
        lines = data.count(b"\n") + (not data.endswith(b"\n"))
        try:
            yield _parsed(data, layout, columns, words or {})
        except ValueError as error:
            raise _bad_line(path, data, line, layout, columns, words or {}) from error
        line += lines


def looked_at(path: Path, layout: Layout, columns: Sequence[int]) -> Floats:
    """The chosen columns (n, columns) in some places all over the file, to find thresholds from."""
    size = path.stat().st_size
    parts = [next(number_blocks(path, layout, columns, block_bytes=LOOK_BYTES))]
    if size > 2 * LOOK_BYTES:
        with path.open("rb") as file:
            for begin in range(LOOK_BYTES, size, max(size // LOOKS, LOOK_BYTES)):
                file.seek(begin)
                file.readline()
                data = file.read(LOOK_BYTES)
                whole = data[: data.rfind(b"\n") + 1]
                # What cannot be read here is complained about when all is read.
                with suppress(ValueError):
                    if whole.strip():
                        parts.append(_parsed(whole, layout, columns, {}))
    return np.concatenate(parts)


def _line_blocks(path: Path, skip: int, size: int) -> Iterator[bytes]:
    """The file in blocks that end with a line, the first lines left out."""
    with path.open("rb") as file:
        for _ in range(skip):
            file.readline()
        while data := file.read(size):
            yield data + file.readline()


def _parsed(
    data: bytes, layout: Layout, columns: Sequence[int], words: Mapping[str, str]
) -> Floats:
    delimiter = layout.delimiter
    begins = ("\n", delimiter) if 0 in columns[1:] else (delimiter,)
    for word, number in words.items():
        for before in begins:
            old, new = f"{before}{word}{delimiter}", f"{before}{number}{delimiter}"
            data = data.replace(old.encode(), new.encode())
    if layout.decimal_comma:
        data = data.replace(b",", b".")
    text = data.decode("latin-1")
    if _whole(layout, columns, words):
        # Whole numbers are read five times as fast; one that is not makes all be read again.
        with suppress(ValueError):
            return _read(text, delimiter, columns, np.int64)
    return _read(text, delimiter, columns, np.float64)


def _whole(layout: Layout, columns: Sequence[int], words: Mapping[str, str]) -> bool:
    """True if the first rows hold whole numbers only."""
    return all(
        column < len(row) and (row[column] in words or row[column].lstrip("+-").isdecimal())
        for row in layout.head[:LOOKED_AT]
        for column in columns
    )


def _read(text: str, delimiter: str, columns: Sequence[int], kind: npt.DTypeLike) -> Floats:
    rows = np.loadtxt(
        io.StringIO(text),
        dtype=kind,
        delimiter=None if delimiter == " " else delimiter,
        usecols=columns,
        comments="#",
        quotechar='"',
        ndmin=2,
    )
    return np.asarray(rows, np.float64)


def _bad_line(
    path: Path,
    data: bytes,
    first: int,
    layout: Layout,
    columns: Sequence[int],
    words: Mapping[str, str],
) -> FileError:
    """The error about the first line that does not fit, and whether the file ends there."""
    lines = data.decode("latin-1").splitlines()
    for number, line in enumerate(lines):
        if not line.strip() or line.startswith(COMMENT):
            continue
        fields = line.split() if layout.delimiter == " " else line.split(layout.delimiter)
        place = Place(str(path), first + number + 1)
        if len(fields) <= max(columns):
            if number == len(lines) - 1:
                return FileError(
                    place,
                    f"the file is cut off in its last line: '{line[:60]}' has {len(fields)} of "
                    f"{len(layout.names)} fields",
                    "Copy the file again, or delete that line.",
                )
            return FileError(
                place,
                f"'{line[:60]}' has {len(fields)} fields, the rows before have {len(layout.names)}",
                "Mend that line, or say the --delimiter.",
            )
        for column in columns:
            text = fields[column].strip().strip('"')
            if text not in words and not is_number(text):
                return FileError(
                    place,
                    f"'{text}' in column {layout.names[column]} is not a number",
                    "Choose another column with --column, or mend that line.",
                )
    return FileError(Place(str(path), first + 1), "a line in it cannot be read", "Export it anew.")
