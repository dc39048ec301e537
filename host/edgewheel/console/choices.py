"""What there is to choose from: wheels of the library, boards, bench files."""

from __future__ import annotations

from functools import cache
from itertools import islice
from pathlib import Path

from edgewheel.console.desk import FIRST
from edgewheel.console.dialogs.choose import Choice
from edgewheel.wheel import library

MOST_FILES = 200
EXAMPLES = FIRST.parent


@cache
def wheels() -> tuple[Choice, ...]:
    """The wheel library, read once: that takes a quarter of a second."""
    return tuple(Choice(entry.stem, entry.wheel.summary) for entry in library.listing())


def boards() -> list[Choice]:
    """The simulated board, the only one on USB, and those whose ports are seen; none is opened."""
    from edgewheel.board.discovery import usb_candidates

    ports = [Choice(one.port, "on USB") for one in usb_candidates()]
    return [
        Choice("sim", "the simulated board, with the simulated controller on its pins"),
        Choice("auto", "the only board on USB"),
        *ports,
    ]


def bench_files(folder: Path) -> list[Choice]:
    """Files that begin like a bench file, in the folder and one below it, then the examples."""
    return _files(folder, "wheel", "controller")


def suites(folder: Path) -> list[Choice]:
    """Plans of tests for qualify, in the folder and one below it, then the examples."""
    return _files(folder, "bench", "tests")


def _files(folder: Path, *keys: str) -> list[Choice]:
    """YAML files with these keys at their top."""
    here = islice(sorted([*folder.glob("*.y*ml"), *folder.glob("*/*.y*ml")]), MOST_FILES)
    own = [Choice(str(path.relative_to(folder))) for path in here if _says(path, *keys)]
    examples = [path for path in sorted(EXAMPLES.rglob("*.yaml")) if _says(path, *keys)]
    return own + [Choice(str(path), "example") for path in examples]


def _says(path: Path, *keys: str) -> bool:
    """Whether the file begins with text in which all these keys stand."""
    try:
        text = path.read_text(encoding="utf-8")[:20_000]
    except (OSError, UnicodeDecodeError):
        return False
    return all(f"\n{key}:" in text for key in keys)
