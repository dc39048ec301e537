"""Mistakes that a hand makes in a circuit's source, planted one at a time."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

from circuit.circuit import Circuit
from circuit.parts import Kind, Part
from circuit.rules import check
from simulate.acceptance import STAGES
from simulate.ngspice import SimulationError

POLAR = (Kind.DIODE, Kind.LED)
VALUED = (Kind.RESISTOR, Kind.CAPACITOR, Kind.TRIMMER)


def wrong_values(stage: Circuit) -> Iterator[tuple[str, Circuit]]:
    """Each resistor, capacitor and trimmer a decade too large and too small."""
    for part in stage.parts:
        if part.type.kind in VALUED:
            for times in (10, 0.1):
                text = _in_pico_or_ohms(part, times)
                changed = replace(part, type=replace(part.type, value=text))
                yield (
                    f"{part.ref} of {part.type.value} is {times:g} times that",
                    _with(stage, changed),
                )


def _in_pico_or_ohms(part: Part, times: float) -> str:
    number = part.type.number * times
    return f"{number:.3f}" if number >= 1e-3 else f"{number * 1e12:.3f}p"


def reversed_diodes(stage: Circuit) -> Iterator[tuple[str, Circuit]]:
    """And electrolytics."""
    for part in stage.parts:
        if part.type.kind in POLAR:
            yield f"{part.ref} reversed", _swapped(stage, part, "A", "K")
        if "+" in part.nets:
            yield f"{part.ref} reversed", _swapped(stage, part, "+", "-")


def swapped_pins(stage: Circuit) -> Iterator[tuple[str, Circuit]]:
    """Each pair of pins of transistors and amplifiers, and a transformer's winding turned round."""
    for part in stage.parts:
        if part.type.kind in (Kind.NPN, Kind.PNP, Kind.PFET):
            pairs = list(itertools.combinations(part.nets, 2))
        else:
            pairs = [("in+", "in-"), ("in", "out"), ("S1", "S2"), ("P1", "P2"), ("1", "wiper")]
            pairs += [("5V", "8V"), ("8V", "12V"), ("V+", "V-"), ("VCC", "GND"), ("+15", "-15")]
            pairs += [("in-", "out"), ("GND", "out")]
        for a, b in pairs:
            if {a, b} <= part.nets.keys() and part.nets[a] != part.nets[b]:
                yield f"{part.ref}: {a} and {b} swapped", _swapped(stage, part, a, b)


def mistyped_nets(stage: Circuit) -> Iterator[tuple[str, Circuit]]:
    for part in stage.parts:
        for pin, net in part.nets.items():
            changed = replace(part, nets=part.nets | {pin: net + "X"})
            yield f"{part.ref}.{pin} on {net}X", _with(stage, changed)


def _swapped(stage: Circuit, part: Part, a: str, b: str) -> Circuit:
    nets = part.nets | {a: part.nets[b], b: part.nets[a]}
    return _with(stage, replace(part, nets=nets))


def _with(stage: Circuit, changed: Part) -> Circuit:
    return stage.with_part(changed)


def what_is_wrong(stage: Circuit) -> str:
    """The first thing that the rules or the simulation find; empty if nothing."""
    for sentence in check(stage):
        return sentence
    try:
        for found in STAGES[stage.name](stage):
            if not found.passed:
                return str(found)
    except (SimulationError, ValueError) as problem:
        return str(problem).splitlines()[0]
    return ""
