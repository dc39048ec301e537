"""Every stage as it is described, against what it must come to."""

from __future__ import annotations

import numpy as np
import pytest

from circuit.circuit import Circuit
from circuit.parts import Kind
from circuit.rules import check
from make import SOURCES
from simulate import hall_edges, input_edges
from simulate.acceptance import STAGES
from simulate.corners import corners
from simulate.ngspice import SimulationError, run
from simulate.reluctor_waves import CORNER_HZ, DELAY, play, played
from stages.board import board, part_count
from stages.hall import PULL_UP_JUMPERS, RAIL_JUMPERS, hall
from stages.inputs import controller_input
from stages.reluctor import reluctor

SEED = 9


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


def test_the_same_seed_gives_the_same_corners() -> None:
    part = hall().part("R1")
    again = [corner.factor(part) for corner in corners(SEED, 3)]
    assert again == [corner.factor(part) for corner in corners(SEED, 3)]
    assert again != [corner.factor(part) for corner in corners(SEED + 1, 3)]
    assert all(0.95 <= factor <= 1.05 for factor in again)


@pytest.mark.parametrize("output", DELAY)
def test_vr_amplitude_follows_speed_and_crossings_stand_on_the_teeth(output: str) -> None:
    per_rpm = []
    for rpm in (50, 200, 1000, 5000, 10_000):
        found = played(play(reluctor(), rpm, CORNER_HZ[output]), rpm, output)
        per_rpm.append(found.amplitude / rpm)
        assert found.degrees_off(DELAY[output]) < (0.05 if rpm >= 200 else 0.2), rpm
    assert max(per_rpm) / min(per_rpm) < 1.05


@pytest.mark.slow
@pytest.mark.parametrize("output", DELAY)
def test_vr_crossings_in_the_corners(output: str) -> None:
    for corner in corners(SEED, 4):
        for rpm, limit in ((50, 0.2), (200, 0.05), (10_000, 0.05)):
            waves = play(reluctor(), rpm, CORNER_HZ[output], corner.factor, corner.degrees)
            found = played(waves, rpm, output)
            board_delay = played(
                play(reluctor(), 2000, CORNER_HZ[output], corner.factor, corner.degrees),
                2000,
                output,
            ).late.mean()
            assert found.degrees_off(board_delay) < limit, (rpm, corner)


def test_a_run_that_ngspice_gives_up_is_an_error() -> None:
    with pytest.raises(SimulationError):
        run("R1 a 0 1k\nXnone a 0 NOTHING\n", "op")
    with pytest.raises(SimulationError):
        run("V1 a 0 1\nV2 a 0 2\n", "op")


def test_no_part_of_a_stage_is_without_a_reason() -> None:
    silent = [p.ref for p in board().parts if not p.why and p.type.kind is not Kind.TERMINAL]
    assert silent == []
