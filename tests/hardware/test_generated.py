"""The committed files are what the source says: `python hardware/make.py` writes them."""

from __future__ import annotations

import csv
import functools
import io

import pytest

from circuit.sheet import label, numbers
from drawings.wiring import HALL, SHARED, VR, Wiring
from make import ROOT, SHIPPED, SOURCES, simulated, written
from stages.board import GPIO, TERMINALS, board

GENERATED = ROOT / "generated"
once_simulated = functools.cache(simulated)


def test_files_without_simulation_are_fresh() -> None:
    for name, text in written().items():
        assert (GENERATED / name).read_text() == text, f"{name} is stale: python hardware/make.py"


def test_files_from_simulation_are_fresh() -> None:
    for name, text in once_simulated().items():
        assert (GENERATED / name).read_text() == text, f"{name} is stale: python hardware/make.py"


def test_no_file_is_left_over() -> None:
    names = {path.name for path in GENERATED.iterdir()}
    assert names == set(written()) | set(once_simulated())


def test_the_shipped_delays_are_these() -> None:
    assert SHIPPED.read_text() == (GENERATED / "stage-delays.yaml").read_text()


@pytest.mark.parametrize("name", SOURCES)
def test_a_drawing_names_every_part_its_value_and_its_pins(name: str) -> None:
    build, _ = SOURCES[name]
    text = (GENERATED / f"{name}.svg").read_text()
    for part in build().parts:
        for word in (*label(part), *numbers(part)):
            assert word in text


def test_pin_numbers_are_those_of_every_unit() -> None:
    units = {part.unit: part for part in board().parts if part.shared == "U93"}
    assert [units[n].pin_number("in-") for n in (0, 1)] == ["2", "6"]
    assert numbers(units[0]) == ["in+: 3/5, in-: 2/6, V+: 8", "V-: 4, out: 1/7"]


@pytest.mark.parametrize("name", SOURCES)
def test_no_words_of_a_drawing_touch_anything(name: str) -> None:
    build, draw = SOURCES[name]
    sheet = draw(build())
    assert sheet.crowded() == []
    sheet.text("on the first part", next(iter(sheet.pins.values())))
    assert sheet.crowded()


def test_the_bill_counts_every_part() -> None:
    rows = list(csv.DictReader(io.StringIO((GENERATED / "bill-of-materials.csv").read_text())))
    refs = [ref for row in rows for ref in row["where"].split()]
    assert sum(int(row["quantity"]) for row in rows) == len(refs) == len(set(refs))
    assert set(refs) == {part.shared or part.ref for part in board().parts}


def test_pins_are_those_of_the_firmware() -> None:
    page = (ROOT.parent / "firmware/README.md").read_text()
    assert "GPIO 0 to 7 | outputs" in page and "GPIO 8 to 15 | inputs" in page
    assert all(GPIO[f"OUT{n}"] == n and GPIO[f"IN{n}"] == 8 + n for n in range(6))


@pytest.mark.parametrize("wiring", (HALL, VR, SHARED))
def test_the_wiring_drawings_name_terminals_as_they_are(wiring: Wiring) -> None:
    for wire in wiring.wires:
        place, _, net = wire.left.partition(" ")
        ref, _, number = place.partition(".")
        terminals = TERMINALS[ref]
        assert net in terminals if not number else net == terminals[int(number) - 1], wire.left
