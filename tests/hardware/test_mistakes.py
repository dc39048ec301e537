"""Planted mistakes: each must break a rule or a figure of its stage."""

from __future__ import annotations

from dataclasses import replace

import pytest

import planted_circuits as mistakes
from make import SOURCES
from stages.hall import hall

# What a decade does not change here, and why that is so.
HARMLESS = {
    "feed: R11 of 100R is 10 times that",  # only spares Q5's base
    "feed: R11 of 100R is 0.1 times that",
    "feed: C2 reversed",  # never sees more than 0.7 V
    "supply: R1 of 10k is 10 times that",  # the gate draws nothing; it follows later
}


@pytest.mark.slow
@pytest.mark.parametrize("name", SOURCES)
def test_wrong_values_reversed_diodes_and_swapped_pins_are_caught(name: str) -> None:
    build, _ = SOURCES[name]
    kinds = (mistakes.wrong_values, mistakes.reversed_diodes, mistakes.swapped_pins)
    planted = [(f"{name}: {what}", c) for kind in kinds for what, c in kind(build())]
    survived = {what for what, circuit in planted if not mistakes.what_is_wrong(circuit)}
    assert survived == {what for what in HARMLESS if what.startswith(name)}


@pytest.mark.parametrize("name", SOURCES)
def test_mistyped_nets_break_a_rule(name: str) -> None:
    build, _ = SOURCES[name]
    for what, circuit in mistakes.mistyped_nets(build()):
        assert mistakes.check(circuit), what


def test_a_value_that_nobody_sells_breaks_a_rule() -> None:
    for ref, value in (("R1", "2.3k"), ("C1", "50p")):
        part = hall().part(ref)
        changed = hall().with_part(replace(part, type=replace(part.type, value=value)))
        assert mistakes.check(changed) == [f"{ref}: no series of values has {value}."]


@pytest.mark.parametrize(
    ("name", "ref", "input"),
    [
        ("hall", "R2", "Q1.B"),
        ("vr", "R9", "U1.in+"),
        ("feed", "R5", "Q2.B"),
        ("input", "R2", "Q1.B"),
    ],
)
def test_an_input_that_floats_without_a_board_breaks_a_rule(
    name: str, ref: str, input: str
) -> None:
    build, _ = SOURCES[name]
    stage = build()
    stage.parts.remove(stage.part(ref))
    assert f"{input}: nothing holds it without a board." in mistakes.check(stage)


@pytest.mark.parametrize("name", SOURCES)
def test_the_drawing_sees_swapped_pins_and_mistyped_nets(name: str) -> None:
    build, draw = SOURCES[name]
    sheet = draw(build())
    assert sheet.differences() == []
    for kind in (mistakes.swapped_pins, mistakes.reversed_diodes, mistakes.mistyped_nets):
        for what, circuit in kind(build()):
            sheet.circuit = circuit
            assert sheet.differences(), what
