"""The simulated controller's VR inputs: arming by amplitude, turning over at the zero crossing."""

import numpy as np
import pytest

from edgewheel import yamlfile
from edgewheel.controller.sim.reading import read_settings
from edgewheel.controller.sim.vr_input import VrInputs
from edgewheel.errors import FileError
from edgewheel.link.pinbus import Peaks, Transitions

HZ = 1_000_000
SETTINGS = """
crank: {line: crank, vr: {arming_mv: [[0, 100], [1000, 1000]], teeth_a_turn: 60}}
cam: {line: cam}
wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
"""
AT_500_RPM = 60 * HZ // (60 * 500)  # ticks between two teeth; the threshold is 550 mV there


def inputs(mv_a_height=1.0, time_constant_us=0):
    more = f"teeth_a_turn: 60, time_constant_us: {time_constant_us}"
    text = SETTINGS.replace("teeth_a_turn: 60", more)
    settings = read_settings(yamlfile.parse(text, "controller.yaml"))
    return VrInputs(settings, HZ, ("cam", "crank"), 0, {1: mv_a_height}, {1: 7})


def teeth(heights_mv, pitch=AT_500_RPM, begin=1_000):
    """Masks of a wheel on line 1 and a cam on line 0 that never moves; a tooth's centre is where
    the voltage falls through zero."""
    ticks = begin + np.arange(2 * len(heights_mv)) * (pitch // 2)
    masks = np.tile(np.array([3, 1], np.uint8), len(heights_mv))
    peaks = Peaks(1, ticks - 7, np.repeat(heights_mv, 2).astype(float))
    return Transitions(ticks, masks, (peaks,))


def rises(seen):
    level = seen.masks >> 1 & 1
    return seen.ticks[np.flatnonzero(np.diff(level, prepend=0) == 1)].tolist()


def through(front, transitions, until=10**9):
    front.know(transitions.peaks)
    return front.pass_on(transitions, until)


def test_the_level_rises_at_the_centre_of_each_tooth_that_arms():
    signal = teeth([600, 600, 540, 600, 560])
    seen = through(inputs(), signal)
    centres = signal.ticks[1::2].tolist()
    assert rises(seen) == [centres[0], centres[1], centres[3], centres[4]]
    assert (seen.masks & 1 == 1).all()


def test_a_missed_tooth_makes_the_input_take_a_lower_threshold():
    """It takes the wheel to be slower: at half the speed 325 mV are enough."""
    signal = teeth([600, 600, 400, 600, 400, 400])
    centres = signal.ticks[1::2].tolist()
    assert rises(through(inputs(), signal)) == [centres[i] for i in (0, 1, 3, 4)]


@pytest.mark.parametrize("time_constant_us", [0, 150])
def test_pieces_make_no_difference(time_constant_us):
    """Half-waves of 1 to 800 us: with 150 us a good part of them vanishes."""
    rng = np.random.default_rng(4)
    regular = teeth(rng.integers(500, 3000, 60))
    ticks = np.cumsum(rng.integers(1, 800, len(regular)))
    peaks = Peaks(1, ticks - 7, regular.peaks[0].heights)
    signal = Transitions(ticks, regular.masks, (peaks,))
    end = int(signal.ticks[-1]) + 1_000
    whole = through(inputs(time_constant_us=time_constant_us), signal, end)
    front, seen, done = inputs(time_constant_us=time_constant_us), [], 0
    front.know(signal.peaks)
    for until in [*np.sort(rng.integers(0, end, 300)).tolist(), end]:
        cut = int(np.searchsorted(signal.ticks, until, side="right"))
        part = Transitions(signal.ticks[done:cut], signal.masks[done:cut])
        piece = front.pass_on(part, until)
        assert (piece.ticks <= until).all()
        seen += zip(piece.ticks.tolist(), piece.masks.tolist(), strict=True)
        done = cut
    assert seen == list(zip(whole.ticks.tolist(), whole.masks.tolist(), strict=True))
    assert (np.diff(whole.ticks) > 0).all() and len(rises(whole)) > 10


def test_a_low_pass_makes_teeth_late_and_weak():
    """A half-wave of 1,000 us is half a sine of 500 Hz: at 150 us it keeps 0.905 of its height and
    is 140 us late; 600 mV are just not enough then for 550 mV. The cam's line is not filtered."""
    signal = teeth([620] * 6 + [600] + [620] * 2)
    front = inputs(time_constant_us=150)
    seen = through(front, signal)
    late = [int(tick) + 140 for tick in signal.ticks[1::2]]
    assert rises(seen) == pytest.approx([*late[:6], *late[7:]], abs=1)
    assert set(signal.ticks.tolist()) <= set(seen.ticks.tolist())


def test_pulses_too_short_for_the_low_pass_are_not_there():
    """Two of 30 us in each half-wave, which without the filter are teeth of their own."""
    signal = teeth([800] * 12)
    quiet = through(inputs(time_constant_us=100), signal)
    ticks = (signal.ticks[:, None] + [0, 300, 330, 600, 630]).ravel()
    masks = (signal.masks[:, None] ^ np.array([0, 2, 0, 2, 0], np.uint8)).ravel()
    peaks = Peaks(1, ticks - 7, np.full(len(ticks), 800.0))
    noisy = Transitions(ticks, masks, (peaks,))
    assert rises(through(inputs(time_constant_us=100), noisy)) == rises(quiet)
    assert rises(through(inputs(), noisy))[0] == signal.ticks[0] + 300


def test_a_square_wave_is_as_high_as_can_be_and_the_stage_scales_codes():
    signal = teeth([1] * 4)
    assert len(rises(through(inputs(), Transitions(signal.ticks, signal.masks)))) == 4
    assert rises(through(inputs(), teeth([1] * 4))) == []
    assert len(rises(through(inputs(mv_a_height=600.0), teeth([1] * 4)))) == 4


def test_a_threshold_whose_speeds_do_not_ascend_is_refused():
    text = SETTINGS.replace("[0, 100]", "[2000, 100]")
    with pytest.raises(FileError, match="the lowest speed first"):
        read_settings(yamlfile.parse(text, "controller.yaml"))
