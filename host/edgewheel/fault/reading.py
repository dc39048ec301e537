"""Faults read field by field: a fault's dataclass says what its section of a bench file may hold.

The fields of window and repetition stand beside the fault's own, so every number has a short
address.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Hashable
from fractions import Fraction
from functools import cache
from types import NoneType, UnionType
from typing import (
    Annotated,
    Any,
    Literal,
    TypeVar,
    Union,
    cast,
    get_args,
    get_origin,
    get_type_hints,
)

from edgewheel.fault.fields import Bounds, ToothNumbers, TrackName
from edgewheel.fault.flips import Flip, Flips
from edgewheel.fault.repetition import Repetition
from edgewheel.fault.window import Window
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import Node, Section

LATEST_US = 10**14
_Read = TypeVar("_Read")


def read_fields(section: Section, kind: type[_Read], wheel: Wheel) -> _Read:
    """A dataclass from the keys of a section, which may hold others. Raises FileError."""
    hints = _hints(cast(Hashable, kind))
    values: dict[str, Any] = {}
    for field in dataclasses.fields(kind):  # type: ignore[arg-type]
        hint = hints[field.name]
        if hint in (Window, Repetition):
            values[field.name] = read_fields(section, hint, wheel)
            continue
        has_default = field.default is not dataclasses.MISSING
        node = section.optional(field.name) if has_default else section.required(field.name)
        if node is not None:
            values[field.name] = _value(node, hint, wheel, section)
    if kind is Window:
        _refuse_closed(section)
    return kind(**values)


def read_flips(section: Section, wheel: Wheel) -> Flips:
    """The flips of `flips: [[track, from_us, to_us], ...]`. Raises FileError."""
    tracks = tuple(track.name for track in wheel.tracks)
    flips = []
    for item in section.required("flips").items():
        parts = item.items()
        if len(parts) != 3:
            raise item.refuse(
                f"{len(parts)} values cannot be a flip", "Write [track, from_us, to_us]."
            )
        begin, end = parts[1].number(-1, LATEST_US), parts[2].number(0, LATEST_US)
        if end <= begin:
            raise item.refuse("to_us is not after from_us", "Write the earlier time first.")
        flips.append(Flip(parts[0].choice(tracks), begin, end))
    return Flips(tuple(flips))


@cache
def _hints(kind: Hashable) -> dict[str, Any]:
    return get_type_hints(kind, include_extras=True)


def _value(node: Node, hint: Any, wheel: Wheel, section: Section) -> Any:
    """A value of the type that a field asks for."""
    if get_origin(hint) is Annotated:
        plain, rule = get_args(hint)
        return _ruled(node, plain, rule, wheel, section)
    assert get_origin(hint) is Literal, hint
    return node.choice(get_args(hint))


def _ruled(node: Node, plain: Any, rule: object, wheel: Wheel, section: Section) -> Any:
    tracks = tuple(track.name for track in wheel.tracks)
    if isinstance(rule, TrackName):
        if get_origin(plain) is tuple:
            return _distinct(node, lambda item: item.choice(tracks), "track")
        return node.choice(tracks)
    if isinstance(rule, ToothNumbers):
        track = wheel.track(section.required("track").choice(tracks))
        return _distinct(node, lambda item: _tooth(item, track.name, len(track.teeth)), "tooth")
    assert isinstance(rule, Bounds), rule
    if _without_none(plain) is int:
        return _whole(node, rule)
    return node.number(rule.minimum, rule.maximum, above=rule.above)


def _whole(node: Node, rule: Bounds) -> int:
    value = node.number(rule.minimum, rule.maximum, above=rule.above)
    if value.denominator != 1:
        raise node.refuse(f"{node.content} is not a whole number", "Write a whole number.")
    return int(value)


def _tooth(node: Node, track: str, teeth: int) -> int:
    number = node.integer(1)
    if number > teeth:
        raise node.refuse(f"track '{track}' has no tooth {number}", f"Write 1 to {teeth}.")
    return number


def _distinct(node: Node, read: Callable[[Node], _Read], what: str) -> tuple[_Read, ...]:
    values = tuple(read(item) for item in node.items())
    if not values:
        raise node.refuse("nothing is listed", f"Write at least one {what}.")
    for number, value in enumerate(values):
        if value in values[:number]:
            raise node.items()[number].refuse(f"{what} {value} stands twice", "Name it once.")
    return values


def _refuse_closed(section: Section) -> None:
    """Refuse a window that never opens."""
    for unit in ("s", "turn", "rpm"):
        begin, end = section.optional(f"from_{unit}"), section.optional(f"to_{unit}")
        if begin and end and not _opens(begin.number(), end.number(), unit):
            raise end.refuse(
                f"to_{unit} is not above from_{unit}, so the fault is never there",
                "Write the smaller number first.",
            )


def _opens(begin: Fraction, end: Fraction, unit: str) -> bool:
    return begin <= end if unit == "rpm" else begin < end


def _without_none(hint: Any) -> Any:
    if get_origin(hint) in (Union, UnionType):
        return next(part for part in get_args(hint) if part is not NoneType)
    return hint
