"""The committed files are what the source says: `python hardware/make.py` writes them."""

from __future__ import annotations

import csv
import functools
import io

import pytest
import yaml

from circuit.sheet import label, numbers
from drawings.wiring import HALL, SHARED, VR, Wiring
from make import ROOT, SHIPPED, SOURCES, simulated, written
from simulate import input_edges
from simulate.power import SURGES
from stages.board import BUILDS, GPIO, TERMINALS, board, part_count
from stages.catalogue import PFET

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
    assert "GPIO 16 and 17 | voltage of VR sensor 0: upper and lower byte" in page
    assert "GPIO 18 and 19 | the same of VR sensor 1" in page
    pairs = [(GPIO[f"{vr} UPPER"], GPIO[f"{vr} LOWER"]) for vr in ("CRANK", "CAM")]
    assert pairs == [(16, 17), (18, 19)]


def figure(stage: str, what: str) -> float:
    rows = csv.DictReader(io.StringIO((GENERATED / "figures.csv").read_text()))
    return next(float(x["value"]) for x in rows if (x["stage"], x["simulated"]) == (stage, what))


def core(teeth: int) -> float:
    return figure("vr", f"VR+ early by its core at 50 rpm, 20 mV a rpm, {teeth} teeth")


def test_the_guide_says_the_figures_that_were_simulated() -> None:
    hall, feed = functools.partial(figure, "hall"), functools.partial(figure, "feed")
    into = functools.partial(figure, "input")
    short = "15 shorted, battery, 0 degrees"
    weak = yaml.safe_load(SHIPPED.read_text())["hall"][5][4700]["rise_us"]
    falls, rises = (
        [hall(f"{edge} late, {rail} V, 1000 ohm, 1 nF") for rail in (5, 12)]
        for edge in ("fall", "rise")
    )
    late = [into(f"{e} late, {s}") for s in input_edges.SOURCES for e in ("rise", "fall")]
    said = (
        f"falls after {falls[0]:.2f} / {falls[1]:.2f} us, rises after {rises[0]:.2f} / "
        f"{rises[1]:.2f} us",
        f"rises after {weak:.1f} us: {weak * 0.06:.2f} degrees at 10,000 rpm",
        f"{hall('current at 12 V'):.0f} mA, at most {hall('heat of Q1 at 14.5 V'):.2f} W in Q1",
        f"{hall('heat of Q1 at 14.5 V and 60 degrees'):.2f} W at 60 degrees",
        f"low stays at {hall('low with 15 mA from outside'):.2f} V",
        f"{-figure('vr', 'VR as the board wakes'):.0f} V, quiet again after "
        f"{figure('vr', 'VR quiet after that (5 mV)'):.1f} s",
        f"{min(late):.2f} to {max(late):.2f} us late; {into('line current at 40 V'):.1f} mA at "
        f"40 V; {into('into dead 3.3 V'):.1f} mA at most",
        f"on after {feed('on after, 6 ohm and 1000 uF'):.1f} ms, {feed('inrush'):.1f} A of "
        f"inrush, off after {feed('off after, 6 ohm and 1000 uF'):.0f} ms",
        f"16 V are plugged in | {feed('feed as 16 V are plugged in, off'):.2f} V",
        f"at most {figure('supply', 'across Q1, surge ' + list(SURGES)[1]):.0f} V across Q1",
        " to ".join(
            f"{figure('signals', f'TPS to its ground, turned to {n}'):.1f}k" for n in (0, 1)
        ),
        f"| {sum(part_count(board()).values())} parts with",
        *(f"| {what} | " for what in BUILDS),
        *(f" | {build.part_count()} |" for build in BUILDS.values()),
        f"off after {feed('off after, ' + short):.0f} ms; Q1's die "
        f"{feed('die of Q1 above its air, ' + short):.0f} K warmer, F1 "
        f"{100 * feed('way of F1 to melting, ' + short):.0f} % of the way",
        f"leaves {feed('heat of Q1 in all, ' + short):.1f} J in Q1, and {PFET.rating.watts:g} W",
        f"crosses {core(24):.2f} degrees early at 50 rpm, at 16 teeth\nalready {core(16):.2f}",
    )
    guide = (ROOT / "README.md").read_text()
    assert [sentence for sentence in said if sentence not in guide] == []


@pytest.mark.parametrize("wiring", (HALL, VR, SHARED))
def test_the_wiring_drawings_name_terminals_as_they_are(wiring: Wiring) -> None:
    for wire in wiring.wires:
        place, _, net = wire.left.partition(" ")
        ref, _, number = place.partition(".")
        terminals = TERMINALS[ref]
        assert net in terminals if not number else net == terminals[int(number) - 1], wire.left
