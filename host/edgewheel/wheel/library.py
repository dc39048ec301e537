"""The wheel library: files that come with edgewheel, found by the stem of their name."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from edgewheel.errors import EdgewheelError, UsageError
from edgewheel.wheel.loader import load_wheel
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import is_path

_PACKAGE = Path(__file__).resolve().parents[1]

GROUPS = (
    "one tooth per cylinder",
    "even teeth with a reference",
    "one gap",
    "one gap with a cam",
    "several gaps",
    "added tooth",
    "wide tooth",
    "width-coded teeth",
    "missing teeth on the cam",
    "uneven windows",
    "optical disc",
    "cams for variable timing",
    "direction sensing",
    "odd fire",
    "single cylinder",
    "two-stroke",
)
"""The kinds of pattern in the library, in the order in which they are listed."""


@dataclass(frozen=True)
class Entry:
    """A wheel of the library under its name."""

    stem: str
    wheel: Wheel


def folder() -> Path:
    """Where the library lies: in the package when installed, at the top level in a checkout.

    Raises EdgewheelError if it is in neither place.
    """
    for candidate in (_PACKAGE / "_wheels", _PACKAGE.parents[1] / "wheels"):
        if candidate.is_dir():
            return candidate
    raise EdgewheelError("The wheel library is missing. Install edgewheel again.")


def names() -> tuple[str, ...]:
    """The names in the library, numbers in them sorted as numbers."""
    return tuple(sorted((path.stem for path in folder().glob("*.yaml")), key=_by_numbers))


def listing() -> tuple[Entry, ...]:
    """Every wheel of the library, in the order of `GROUPS` and of the names within a group."""
    entries = [Entry(name, find(name)) for name in names()]
    return tuple(sorted(entries, key=lambda entry: GROUPS.index(entry.wheel.group)))


def find(name_or_path: str | Path) -> Wheel:
    """The library wheel of that name, or the wheel in the file at that path.

    What ends in .yaml or .yml or contains a slash is a path. Raises FileError for a file that
    cannot be used, UsageError with the nearest name for a name that the library does not have.
    """
    return load_wheel(locate(name_or_path))


def locate(name_or_path: str | Path) -> Path:
    """The file that `find` reads. Raises UsageError for an unknown name."""
    if isinstance(name_or_path, Path) or is_path(name_or_path):
        return Path(name_or_path)
    inside = folder() / f"{name_or_path}.yaml"
    if not inside.is_file():
        raise _unknown(name_or_path)
    return inside


def _unknown(name: str) -> UsageError:
    near = _nearest(name)
    hint = f" Is it {' or '.join(near)}?" if near else ""
    return UsageError(
        f"There is no wheel '{name}' in the library.{hint}\n"
        "  'edgewheel wheels' lists them; a file of your own is given as a path ending in .yaml."
    )


def _nearest(name: str) -> list[str]:
    """Up to four names that continue this one, else those spelt alike, else of the same numbers."""
    known = names()
    numbers = set(re.findall(r"\d+", name))
    near = [one for one in known if one.startswith(name)]
    near = near or difflib.get_close_matches(name, known, 2, cutoff=0.75)
    near = near or [one for one in known if numbers and numbers <= set(re.findall(r"\d+", one))]
    return near[:4]


@cache
def _by_numbers(name: str) -> tuple[tuple[int, str], ...]:
    """A key that puts 4-teeth before 12-even."""
    return tuple((int(part), "") if part.isdecimal() else (-1, part) for part in name.split("-"))
