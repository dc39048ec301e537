"""The `outputs:` of a bench file: what each captured line of the controller does."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from edgewheel.bench.signals import OUTPUT_KINDS, OutputLine, SparkLine
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import Node, Section


def read_outputs(node: Node, wheel: Wheel) -> dict[str, OutputLine]:
    """The `outputs:` of a bench file, by the name of the line. Raises FileError."""
    section = node.section()
    return {name: _read_line(section.required(name), wheel) for name in section.nodes}


def sparks_of(outputs: Mapping[str, OutputLine]) -> dict[str, SparkLine]:
    """The coils among the outputs."""
    return {name: line.spark_line() for name, line in outputs.items() if line.kind == "ignition"}


def _read_line(node: Node, wheel: Wheel) -> OutputLine:
    section = node.section()
    kinds = [kind for kind in OUTPUT_KINDS if kind in section.nodes]
    if len(kinds) != 1:
        raise node.refuse(
            f"this output is {len(kinds)} kinds of thing",
            "Write one of 'ignition: [cylinders]', 'injection: cylinder', 'tacho: pulses a turn'.",
        )
    kind = kinds[0]
    what = section.required(kind)
    if kind == "tacho":
        line = OutputLine(kind, pulses_a_turn=float(what.number(above=0, maximum=1000)))
    elif kind == "ignition":
        line = OutputLine(kind, read_cylinders(what, wheel), _charging_level(section))
    else:
        end = section.optional("end_deg")
        line = OutputLine(
            kind,
            read_cylinders(what, wheel),
            _level(section.optional("open"), "low"),
            float(end.number(-720, 720)) if end else None,
        )
    section.finish()
    return line


def _charging_level(section: Section) -> Literal["high", "low"]:
    """From `dwell:` or from `spark:`, the edge that ends it; both must agree."""
    dwell, spark = section.optional("dwell"), section.optional("spark")
    by_edge: Literal["high", "low"] = "high"
    if spark is not None:
        by_edge = "high" if spark.choice(("fall", "rise")) == "fall" else "low"
    level = _level(dwell, by_edge)
    if spark is not None and level != by_edge:
        raise spark.refuse(
            f"a coil that charges while {level} cannot spark at a {spark.content}",
            "The spark comes where the dwell ends; leave one of the two out.",
        )
    return level


def _level(node: Node | None, usual: Literal["high", "low"]) -> Literal["high", "low"]:
    return node.choice(("high", "low")) if node else usual


def read_cylinders(node: Node, wheel: Wheel) -> tuple[int, ...]:
    """One cylinder or a list of them, each with a TDC in the wheel file. Raises FileError."""
    items = node.items() if isinstance(node.content, tuple) else (node,)
    numbers = tuple(item.integer(1) for item in items)
    for number in numbers:
        if number not in wheel.firing_order:
            known = ", ".join(map(str, sorted(wheel.firing_order))) or "none"
            raise node.refuse(
                f"the wheel file has no TDC of cylinder {number}",
                f"It has: {known}. Add the others to its 'tdc:'.",
            )
    if not numbers or len(set(numbers)) != len(numbers):
        raise node.refuse("a cylinder is missing or stands twice", "Name each cylinder once.")
    return numbers
