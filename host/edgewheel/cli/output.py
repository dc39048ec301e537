"""Where a command's file goes: to stdout, or to a file that appears only when it is whole."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from edgewheel.wholefile import whole_file


@contextmanager
def output(target: str, encoding: str = "ascii") -> Iterator[IO[str]]:
    """stdout for "-", else the file of that name. Raises BenchError if it cannot be written."""
    if target == "-":
        yield sys.stdout
        return
    with whole_file(Path(target), encoding) as file:
        yield file
