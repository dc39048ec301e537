"""A fault that is asked for once comes once, at the next place where it can be."""

import numpy as np
import pytest

from edgewheel.bench.live.state import FaultState
from live_bench import EDGE_FAULTS, METAL_FAULTS, Playing, differences, line

TURN_S = 60 / 1000


def played_once(folder, kind, words):
    playing = Playing(folder, 1000, line(kind, words))
    playing.play(0.33)
    playing.fault("bad", FaultState.ONCE)
    playing.play(0.5)
    playing.park()
    return playing


@pytest.mark.parametrize(
    "kind", ["dropped_tooth", "late_tooth", "extra_pulse", "jitter", "loose_at_teeth"]
)
def test_faults_of_teeth_come_at_one_tooth(tmp_path, kind):
    playing = played_once(tmp_path, kind, EDGE_FAULTS[kind])
    (taken,) = playing.taken
    differs = differences(playing)
    assert len(differs) >= 1
    assert taken.seconds <= differs[0] and differs[-1] - differs[0] < TURN_S / 60 + 0.003
    assert differs[-1] < taken.seconds + TURN_S + 0.01


def test_the_next_of_its_teeth_is_dropped(tmp_path):
    playing = played_once(tmp_path, "dropped_tooth", "track: crank, teeth: [3, 33], chance: 0.01")
    differs = differences(playing)
    place = differs * 1000 * 6 % 360  # at 1000 rpm 6 degrees a millisecond
    assert np.allclose(place, [32 * 6, 32 * 6 + 3]) or np.allclose(place, [2 * 6, 2 * 6 + 3])


def test_one_burst_of_noise(tmp_path):
    words = "tracks: [crank], bursts_per_s: 8, width_us: 20, pulses: 3, gap_us: 35"
    differs = differences(played_once(tmp_path, "noise", words))
    assert 2 <= len(differs) <= 6 and differs[-1] - differs[0] < 0.0003


def test_a_contact_opens_once(tmp_path):
    words = "track: crank, lasts_ms: 30, breaks_per_s: 0.001, shows: high"
    playing = played_once(tmp_path, "loose", words)
    (taken,) = playing.taken
    differs = differences(playing)
    assert taken.seconds <= differs[0] < taken.seconds + 0.001
    assert taken.seconds + 0.028 < differs[-1] <= taken.seconds + 0.030


@pytest.mark.parametrize("kind", ["polarity", "swapped"])
def test_a_line_is_wrong_for_one_turn(tmp_path, kind):
    playing = played_once(tmp_path, kind, EDGE_FAULTS[kind])
    (taken,) = playing.taken
    differs = differences(playing)
    assert taken.seconds <= differs[0] and differs[-1] <= taken.seconds + TURN_S + 1e-6
    assert differs[-1] - differs[0] > 0.9 * TURN_S


@pytest.mark.parametrize("kind", ["missing_tooth", "shifted", "worn_teeth"])
def test_a_wheel_is_wrong_for_one_period(tmp_path, kind):
    playing = played_once(tmp_path, kind, METAL_FAULTS[kind])
    (taken,) = playing.taken
    differs = differences(playing)
    assert taken.seconds <= differs[0] and differs[-1] <= taken.seconds + 2 * TURN_S + 1e-6
    assert len(differs) >= 2


def test_one_that_waits_finds_its_place_at_another_speed(tmp_path):
    playing = Playing(tmp_path, 30, line("dropped_tooth", "track: crank, teeth: [50]"))
    playing.play(0.3)
    playing.fault("bad", FaultState.ONCE)
    playing.play(0.1)
    playing.speed(1000)
    playing.play(0.5)
    playing.park()
    assert len(differences(playing)) == 2


@pytest.mark.parametrize(("then", "teeth"), [(FaultState.HELD, 2), (FaultState.OFF, 0)])
@pytest.mark.parametrize("wait_s", [0, 0.1], ids=["before the board took it", "after"])
def test_one_that_waits_gives_way_to_a_newer_order(tmp_path, wait_s, then, teeth):
    playing = Playing(tmp_path, 60, line("dropped_tooth", "track: crank, teeth: [50]"))
    playing.play(0.3)
    playing.fault("bad", FaultState.ONCE)
    playing.play(wait_s)
    playing.fault("bad", then)
    playing.play(1.6 - wait_s)
    playing.park()
    assert len(differences(playing)) == 2 * teeth
