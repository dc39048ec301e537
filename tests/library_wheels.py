"""The wheels of the library, each file read once however many tests play its wheel."""

from functools import cache

from edgewheel.edges.levels import LevelTable, wheel_levels
from edgewheel.wheel import library
from edgewheel.wheel.model import Wheel

entries = cache(library.listing)


@cache
def _by_name() -> dict[str, Wheel]:
    return {entry.stem: entry.wheel for entry in entries()}


def library_wheel(name: str) -> Wheel:
    return _by_name()[name]


@cache
def library_levels(name: str) -> LevelTable:
    return wheel_levels(library_wheel(name))
