"""Controller settings from a YAML tree; a complaint names file, line, key and what would be right.

The keys are the fields of the settings and their groups, the ranges stand with the fields.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Hashable
from dataclasses import MISSING, fields, is_dataclass
from fractions import Fraction
from functools import cache
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

from edgewheel.controller.sim import contradictions
from edgewheel.controller.sim.settings import (
    AddedTooth,
    ControllerSettings,
    EvenTeeth,
    MissingTeeth,
    Range,
    SlottedDisc,
    ToothPerCylinder,
    UnevenWindows,
    WheelSettings,
)
from edgewheel.yamlfile import Node, Section

WHEEL_KINDS: dict[str, type[WheelSettings]] = {
    "missing_teeth": MissingTeeth,
    "added_tooth": AddedTooth,
    "even_teeth": EvenTeeth,
    "tooth_per_cylinder": ToothPerCylinder,
    "uneven_windows": UnevenWindows,
    "slotted_disc": SlottedDisc,
}
Group = TypeVar("Group")


def read_settings(node: Node) -> ControllerSettings:
    """The settings of a controller. Raises FileError."""
    return _group(node, ControllerSettings)


def _group(node: Node, kind: type[Group], section: Section | None = None) -> Group:
    """The mapping at a node as one group of settings; `section` if some keys are taken already."""
    section = section or node.section()
    hints = _hints(cast(Hashable, kind))
    values: dict[str, Any] = {}
    for field in fields(kind):  # type: ignore[arg-type]
        needed = field.default is MISSING and field.default_factory is MISSING
        child = section.required(field.name) if needed else section.optional(field.name)
        if child is not None:
            values[field.name] = _value(child, hints[field.name])
    section.finish()
    settings = kind(**values)
    for key, problem, remedy in contradictions.found(settings):
        raise section.nodes.get(key, node).refuse(problem, remedy)
    return settings


@cache
def _hints(kind: Hashable) -> dict[str, Any]:
    return get_type_hints(kind, include_extras=True)


def _value(node: Node, hint: Any) -> Any:
    """One value, by the type that its field declares."""
    origin, arguments = get_origin(hint), get_args(hint)
    if hint == WheelSettings:
        section = node.section()
        kind = section.required("kind").choice(tuple(WHEEL_KINDS))
        return _group(node, WHEEL_KINDS[kind], section)
    if is_dataclass(hint):
        return _group(node, cast(type[Any], hint))
    if origin is Annotated:
        return _number(node, *arguments)
    if origin in (Union, types.UnionType):
        return None if node.content is None else _value(node, arguments[0])
    if origin is Literal:
        return node.choice(arguments)
    if origin is tuple:
        return _tuple(node, arguments)
    readers: dict[Any, Callable[[Node], Any]] = {bool: Node.flag, str: Node.text}
    return readers[hint](node)


def _number(node: Node, kind: type[float] | type[int], limits: Range) -> float | int:
    if kind is int:
        low, high = limits.minimum, limits.maximum
        return node.integer(None if low is None else int(low), None if high is None else int(high))
    exact = [None if x is None else Fraction(x) for x in (limits.minimum, limits.maximum)]
    above = None if limits.above is None else Fraction(limits.above)
    return float(node.number(*exact, above=above))


def _tuple(node: Node, arguments: tuple[Any, ...]) -> tuple[Any, ...]:
    items = node.items()
    if arguments[-1] is ...:
        return tuple(_value(item, arguments[0]) for item in items)
    if len(items) != len(arguments):
        raise node.refuse(f"{len(items)} values stand here", f"Write {len(arguments)} values.")
    return tuple(_value(item, hint) for item, hint in zip(items, arguments, strict=True))
