"""Where a command's data go: to stdout, or to a file that appears only when it is whole."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from edgewheel.cli.streams import drop
from edgewheel.wholefile import whole_file


@contextmanager
def output(target: str, encoding: str = "ascii") -> Iterator[IO[str]]:
    """stdout for "-", else the file of that name. Raises BenchError if it cannot be written."""
    if target == "-":
        yield sys.stdout
        return
    with whole_file(Path(target), encoding) as file:
        yield file


def print_json(data: object, ensure_ascii: bool = True) -> None:
    """The result on stdout. That nobody reads it ends no command: its exit code is a verdict."""
    try:
        print(json.dumps(data, indent=2, ensure_ascii=ensure_ascii), flush=True)
    except BrokenPipeError:
        drop(sys.stdout)
