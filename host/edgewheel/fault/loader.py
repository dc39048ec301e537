"""The `faults:` of a bench file: named, so that any number in one has an address."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction

from edgewheel.fault.bounce import Bounce
from edgewheel.fault.model import EdgeFault
from edgewheel.yamlfile import Node, Section

LONGEST_US = 1_000_000
MOST_PULSES = 100


def read_faults(node: Node, tracks: tuple[str, ...]) -> dict[str, EdgeFault]:
    """Faults by name, in the order in which they apply; `off: true` leaves one out.

    Raises FileError.
    """
    section = node.section()
    faults: dict[str, EdgeFault] = {}
    for name in section.nodes:
        fault_node = section.required(name)
        fault_section = fault_node.section()
        kind = fault_section.required("kind").choice(tuple(_KINDS))
        off = fault_section.optional("off")
        fault = _KINDS[kind](fault_section, tracks)
        fault_section.finish()
        if off is None or not off.flag():
            faults[name] = fault
    return faults


def _read_bounce(section: Section, tracks: tuple[str, ...]) -> Bounce:
    track = section.required("track").choice(tracks)
    width_us = section.required("width_us").number(above=0, maximum=LONGEST_US)
    delay_us = _optional_number(section, "delay_us", LONGEST_US)
    delay_percent = _optional_number(section, "delay_percent", 100)
    count = section.optional("count")
    after = section.optional("after")
    fault = Bounce(
        track,
        width_us,
        delay_us,
        delay_percent,
        count.integer(1, MOST_PULSES) if count else 1,
        after.choice(("rise", "fall", "both")) if after else "both",
    )
    if (delay_us > 0) == (delay_percent > 0):
        remedy = "Write exactly one of delay_us and delay_percent, above 0."
        raise section.node.refuse("the delay of the bounce is not clear", remedy)
    if fault.count > 1 and 0 < delay_us <= width_us:
        remedy = "Make width_us less than delay_us."
        raise section.node.refuse("its pulses would overlap", remedy)
    return fault


def _optional_number(section: Section, key: str, maximum: int) -> Fraction:
    node = section.optional(key)
    return node.number(0, maximum) if node else Fraction(0)


_KINDS: Mapping[str, Callable[[Section, tuple[str, ...]], EdgeFault]] = {"bounce": _read_bounce}
