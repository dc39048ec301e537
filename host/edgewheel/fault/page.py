"""The page about faults, written from the faults themselves: meaning, keys, example, picture."""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from edgewheel.fault.examples import description, example
from edgewheel.fault.fields import Bounds, ToothNumbers, TrackName
from edgewheel.fault.kinds import KINDS
from edgewheel.fault.repetition import Repetition
from edgewheel.fault.window import Window
from edgewheel.wheel.teeth import readable

FOLDER = "faults"

HEAD = """# Faults

Written by `edgewheel faults --svg`, not by hand. A fault stands in the `faults:` of a bench file
under a name of your own, faults work in the order in which they stand there, and every number has
an address, such as `faults.worn.delay_us`. `off: true` leaves one out.

In the pictures the sound signal is above and the faulty one below, the places where they differ
are tinted, a cross marks an edge that does not come there any more, a triangle one that is new.

Faults of the metal come first, then those of the sensor's leads, then those of the edges.
"""


def page_text() -> str:
    """The page, in Markdown."""
    parts = [HEAD]
    for title, kind in (("When: the window", Window), ("How often: the repetition", Repetition)):
        about = _trimmed(kind.__doc__ or "")
        parts.append(f"## {title}\n\n{about}\n\n{keys_table(kind)}\n")
    for name in KINDS:
        parts.append(
            f"## {name}\n\n{description(name)}\n\n{keys_table(KINDS[name])}\n\n"
            f"```yaml\n{example(name).line}\n```\n\n![{name}]({FOLDER}/{name}.svg)\n"
        )
    return "\n".join(parts)


def keys_table(kind: type[Any]) -> str:
    """The keys of a fault, one line each: what may stand there, and what if nothing does."""
    hints = get_type_hints(kind, include_extras=True)
    lines = ["| key | value | default |", "|---|---|---|"]
    also = []
    for field in dataclasses.fields(kind):
        hint = hints[field.name]
        if hint in (Window, Repetition):
            also.append("the window" if hint is Window else "the repetition")
            continue
        lines.append(f"| `{field.name}` | {_allowed(hint)} | {_default(field.default)} |")
    table = "\n".join(lines)
    return f"{table}\n\nAnd the keys of {' and of '.join(also)}." if also else table


def _allowed(hint: Any) -> str:
    if get_origin(hint) is Annotated:
        plain, rule = get_args(hint)
        if isinstance(rule, TrackName):
            return "tracks of the wheel, a list" if get_origin(plain) is tuple else "a track"
        if isinstance(rule, ToothNumbers):
            return "tooth numbers of the track, a list"
        assert isinstance(rule, Bounds)
        return _range(plain, rule)
    if get_origin(hint) is Literal:
        return " or ".join(f"`{word}`" for word in get_args(hint))
    return "`[track, from_us, to_us]`, a list"


def _range(plain: Any, rule: Bounds) -> str:
    inner = plain
    if get_origin(plain) in (Union, UnionType):
        inner = next(part for part in get_args(plain) if part is not NoneType)
    what = "whole number" if inner is int else "number"
    low = f"above {_number(rule.above)}" if rule.above is not None else _number(rule.minimum)
    return f"{what}, {low} to {_number(rule.maximum)}"


def _number(value: Fraction | int | None) -> str:
    return "" if value is None else readable(Fraction(value))


def _default(value: object) -> str:
    if value is dataclasses.MISSING:
        return "must be given"
    if isinstance(value, Fraction | int):
        return readable(Fraction(value))
    return f"`{value}`" if value else "none"


def _trimmed(text: str) -> str:
    return "\n".join(line.strip() for line in text.splitlines()).strip()
