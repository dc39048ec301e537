"""Files that appear only when they are whole, and the folders that they go to."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from edgewheel.errors import BenchError


@contextmanager
def whole_file(path: Path, encoding: str = "utf-8") -> Iterator[IO[str]]:
    """A text file to write; there in full at the end, or as before. Raises BenchError."""
    part = path.with_name(path.name + ".part")
    try:
        with part.open("w", encoding=encoding, newline="\n") as file:
            yield file
        part.replace(path)
    except OSError as error:
        raise BenchError(
            f"{path} cannot be written: {error.strerror or error}. Check the folder, its rights "
            "and the space on the disk, or give another file."
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def write_whole(path: Path, text: str) -> None:
    """Write a text file in one step. Raises BenchError."""
    with whole_file(path) as file:
        file.write(text)


def make_folder(path: Path) -> None:
    """A folder, with those above it; none if it is there. Raises BenchError."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BenchError(
            f"The folder {path} cannot be made: {error.strerror or error}. Check the rights of "
            "the one above it, or give another."
        ) from error
