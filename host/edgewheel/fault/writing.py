"""A fault as its section of a bench file: what `reading` takes apart, put together again."""

from __future__ import annotations

import dataclasses
import json
from typing import Any, cast

from edgewheel.fault.flips import Flips
from edgewheel.fault.kinds import KINDS
from edgewheel.fault.model import Fault
from edgewheel.fault.repetition import Repetition
from edgewheel.fault.weak import WeakVoltage
from edgewheel.fault.window import Window


def written(fault: Fault, off: bool = False) -> str:
    """The fault on one line of YAML, which reads back as the same; `off` leaves it out of a run."""
    if isinstance(fault, WeakVoltage):
        fault = fault.signal
    kind = next(word for word, made in KINDS.items() if made is type(fault))
    values = {"off": "true"} if off else {}
    values["kind"] = kind
    if isinstance(fault, Flips):
        flips = (f"[{one.track}, {one.from_us}, {one.to_us}]" for one in fault.flips)
        values["flips"] = f"[{', '.join(flips)}]"
    else:
        values |= _fields(fault)
    return "{" + ", ".join(f"{key}: {value}" for key, value in values.items()) + "}"


def _fields(owner: object) -> dict[str, str]:
    """The values that differ from those which the loader takes where nothing is said."""
    found: dict[str, str] = {}
    for field in dataclasses.fields(cast(Any, owner)):
        value = getattr(owner, field.name)
        if isinstance(value, Window | Repetition):
            found |= _fields(value)
        elif value != field.default:
            found[field.name] = _value(value)
    return found


def _value(value: object) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(map(_value, value))}]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)
