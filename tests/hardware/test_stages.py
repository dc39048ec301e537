"""Every stage as it is described, against what it must come to."""

from __future__ import annotations

import numpy as np
import pytest
import yaml

from circuit.circuit import Circuit
from circuit.parts import Kind
from circuit.rules import check
from circuit.spice import deck
from make import ROOT, SHIPPED, SOURCES
from simulate import hall_edges, input_edges, power
from simulate.acceptance import STAGES
from simulate.corners import OFFSET, corners, varied
from simulate.delays import LEADS
from simulate.models import models
from simulate.ngspice import SimulationError, run
from simulate.reluctor_waves import CORNER_HZ, LOADS, RAILS, play, played
from simulate.stress import loads
from stages.board import board, part_count
from stages.feed import feed
from stages.hall import PULL_UP_JUMPERS, RAIL_JUMPERS, hall
from stages.inputs import controller_input
from stages.reluctor import reluctor

SEED = 9
GUIDE = (ROOT / "README.md").read_text()


def built(name: str) -> Circuit:
    build, _ = SOURCES[name]
    return build()


@pytest.mark.parametrize("name", SOURCES)
def test_a_stage_breaks_no_rule_and_does_what_it_must(name: str) -> None:
    assert check(built(name)) == []
    assert [str(found) for found in STAGES[name](built(name)) if not found.passed] == []


def test_the_whole_board_breaks_no_rule() -> None:
    assert check(board(), whole=True) == []


def test_every_part_can_be_soldered_by_hand() -> None:
    assert all(part.type.housing.hand_solderable for part in board().parts)
    assert sum(part_count(board()).values()) < 260


def test_every_part_has_two_classes_of_substitute() -> None:
    for part in board().parts:
        first, second = part.type.substitutes
        assert first and second and first != second != part.type.value, part.ref


@pytest.mark.slow
@pytest.mark.parametrize("name", SOURCES)
def test_a_stage_of_parts_of_5_percent_does_what_it_must(name: str) -> None:
    for corner in corners(SEED, 2):
        figures = STAGES[name](varied(built(name), corner))
        assert [str(found) for found in figures if not found.passed] == [], corner


@pytest.mark.parametrize("load", hall_edges.LOADS)
@pytest.mark.parametrize("pull_up", PULL_UP_JUMPERS)
@pytest.mark.parametrize("rail", RAIL_JUMPERS)
def test_hall_edges_over_rail_pull_up_and_load(rail: int, pull_up: int, load: str) -> None:
    found = hall_edges.edges(hall_edges.waves(hall(), rail, pull_up, load))
    assert 0.03e-6 < found.fall < 0.5e-6
    assert found.fall < found.rise < (2.2e-6 if pull_up == 1000 else 7e-6)
    assert found.low < 0.4
    assert found.high > rail - 0.8
    assert found.undershoot > -1.0


def test_hall_edges_in_the_corners() -> None:
    late = []
    for corner in corners(SEED, 12):
        waves = hall_edges.waves(
            hall(), 5, 1000, "1 nF", 3.3, corner.factor, corner.models(), corner.degrees
        )
        found = hall_edges.edges(waves)
        assert found.low < 0.4 and found.high > 4.2
        late.append((found.rise, found.fall))
        tied = f"{hall_edges.fault(14.5)}.temp {corner.degrees:g}\n"
        _, bears = loads(
            hall(), tied, "tran 1m 20m", ("JP1.12V", "JP2"), corner.factor,
            device_models=corner.models(),
        )  # fmt: skip
        watts = next(load.watts for load in bears if load.part.ref == "Q1")
        assert 0.2 < watts < 0.625 - 5e-3 * (corner.degrees - 25)
    rises, falls = np.array(late).T * 1e6
    assert rises.min() > 1.0 and rises.max() < 2.2
    assert falls.min() > 0.03 and falls.max() < 0.3


def test_input_edges_in_the_corners() -> None:
    for corner in corners(SEED, 12):
        for source, most in (("logic of 5 V", 0.9e-6), ("open collector, pull-up here", 0.5e-6)):
            waves = input_edges.waves(
                controller_input(), source, corner.factor, corner.models(), corner.degrees
            )
            found = input_edges.edges(waves)
            assert 0 < found.rise < most and 0 < found.fall < 0.5e-6


def test_the_feed_bears_a_short_in_the_corners() -> None:
    for corner in corners(SEED, 4):
        parts = (corner.factor, corner.models(), corner.degrees)
        found = power.shorted(feed(), power.BATTERY, power.SHORTED, *parts)
        assert 30 < found.kelvin < 110 and found.fuse < 0.6 and found.watts < 0.1
        sound = power.shorted(feed(), power.BATTERY, power.FEED_LOAD, *parts)
        assert sound.volts > 13.5 and sound.kelvin < 40


def test_the_feed_stays_off_after_a_short_until_on_has_been_low_for_half_a_second() -> None:
    """The short is gone at 0.1 s, ON is low from 0.2 s to 0.7 s."""
    gone = "Sshort 15 0 shut 0 SHUT\nVshut shut 0 PULSE(1 0 0.1 1u 1u 9 10)\n"
    on = "Vpin on 0 PULSE(0 3.3 5m 1u 1u 195m 695m)\n.model SHUT SW(RON=50m ROFF=1meg VT=0.5)\n"
    around = power.BATTERY + power.FEED_LOAD + gone + on
    waves = run(deck(feed()) + around, "tran 50u 0.85 0 200u", "v(15) v(late)")
    assert abs(waves.at("v(15)", 0.199)) < 0.1 and waves.at("v(15)", 0.8) > 13.5
    assert waves.at("v(late)", 0.699) < 0.05  # The next short has its whole time before it.


def test_the_same_seed_gives_the_same_corners() -> None:
    part = hall().part("R1")
    again = [corner.factor(part) for corner in corners(SEED, 3)]
    assert again == [corner.factor(part) for corner in corners(SEED, 3)]
    assert again != [corner.factor(part) for corner in corners(SEED + 1, 3)]
    assert all(0.95 <= factor <= 1.05 for factor in again)


@pytest.mark.parametrize("output", CORNER_HZ)
def test_vr_amplitude_follows_speed_and_crossings_stand_on_the_teeth(output: str) -> None:
    """The delay taken off is the one that the host takes off."""
    delay = yaml.safe_load(SHIPPED.read_text())["vr"][LEADS[output]]["delay_us"] * 1e-6
    per_rpm = []
    for rpm in (50, 200, 1000, 5000, 10_000):
        found = played(play(reluctor(), rpm, CORNER_HZ[output]), rpm, output)
        per_rpm.append(found.amplitude / rpm)
        assert found.degrees_off(delay) < (0.05 if rpm >= 200 else 0.2), rpm
    assert max(per_rpm) / min(per_rpm) < 1.05
    least, most, last = (f"{1000 * x:.2f}" for x in (min(per_rpm), max(per_rpm), per_rpm[-1]))
    assert output == "VR+" or f"{least} to {most} mV per rpm, {float(last) * 10:.1f} V" in GUIDE


def test_an_offset_stands_on_the_grounded_output() -> None:
    sound, offset = (
        played(play(reluctor(), 50, CORNER_HZ["VR"], device_models=models(offset=volts)), 50, "VR")
        for volts in (0, OFFSET)
    )
    assert f"{offset.degrees_off(sound.late.mean()):.2f} degrees at 50 rpm" in GUIDE


@pytest.mark.slow
@pytest.mark.parametrize("output", CORNER_HZ)
def test_vr_crossings_in_the_corners(output: str) -> None:
    corner_hz = CORNER_HZ[output]
    for corner in corners(SEED, 4):
        found = {
            rpm: played(
                play(reluctor(), rpm, corner_hz, corner.factor, corner.degrees, corner.models()),
                rpm,
                output,
            )
            for rpm in (50, 200, 2000, 10_000)
        }
        of_this_board = found[2000].late.mean()
        for rpm, limit in ((50, 0.2), (200, 0.05), (10_000, 0.05)):
            assert found[rpm].degrees_off(of_this_board) < limit, (rpm, corner)


def test_a_run_that_ngspice_gives_up_is_an_error() -> None:
    with pytest.raises(SimulationError):
        run("R1 a 0 1k\nXnone a 0 NOTHING\n", "op")
    with pytest.raises(SimulationError):
        run("V1 a 0 1\nV2 a 0 2\nR1 a 0 1\n", "op")


def test_no_part_of_a_stage_is_without_a_reason() -> None:
    silent = [p.ref for p in board().parts if not p.why and p.type.kind is not Kind.TERMINAL]
    assert silent == []


@pytest.mark.slow
def test_hall_edges_at_any_pin_voltage_and_at_both_ends_of_the_temperature() -> None:
    for pin_volts in (3.0, 3.3, 5.0):
        for degrees in (0, 60):
            waves = hall_edges.waves(hall(), 5, 1000, "1 nF", pin_volts, degrees=degrees)
            found = hall_edges.edges(waves)
            assert found.skew < 1.8e-6, (pin_volts, degrees)


@pytest.mark.slow
@pytest.mark.parametrize("output", CORNER_HZ)
def test_the_carrier_of_the_pulse_widths_is_gone(output: str) -> None:
    """At rest both bytes are in the middle: half of the time high, 488 kHz."""
    edge = "PULSE(0 3.3 1n 2n 2n 1.022u 2.048u)"
    pins = f"Vh h 0 {edge}\nRh h upper 40\nVl l 0 {edge}\nRl l lower 40\n"
    around = deck(reluctor()) + pins + RAILS + LOADS + ".ic v(ac)=0\n"
    waves = run(around, "tran 100n 400u 380u 100n", "v(vr) v(vrp) v(vrm)")
    signal = waves["v(vr)"] if output == "VR" else waves["v(vrp)"] - waves["v(vrm)"]
    drift = np.polyval(np.polyfit(waves.time, signal, 2), waves.time)
    assert np.ptp(signal - drift) < 0.02
