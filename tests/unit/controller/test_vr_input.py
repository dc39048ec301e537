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


def inputs(mv_a_height=1.0):
    settings = read_settings(yamlfile.parse(SETTINGS, "controller.yaml"))
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


def through(front, transitions):
    front.know(transitions.peaks)
    return front.pass_on(transitions)


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


def test_pieces_make_no_difference():
    signal = teeth(np.random.default_rng(4).integers(300, 800, 60))
    whole = through(inputs(), signal)
    front, masks = inputs(), []
    front.know(signal.peaks)
    for at in range(0, len(signal), 7):
        part = Transitions(signal.ticks[at : at + 7], signal.masks[at : at + 7])
        masks += front.pass_on(part).masks.tolist()
    assert masks == whole.masks.tolist()


def test_a_square_wave_is_as_high_as_can_be_and_the_stage_scales_codes():
    signal = teeth([1] * 4)
    assert len(rises(inputs().pass_on(Transitions(signal.ticks, signal.masks)))) == 4
    assert rises(through(inputs(), teeth([1] * 4))) == []
    assert len(rises(through(inputs(mv_a_height=600.0), teeth([1] * 4)))) == 4


def test_a_threshold_whose_speeds_do_not_ascend_is_refused():
    text = SETTINGS.replace("[0, 100]", "[2000, 100]")
    with pytest.raises(FileError, match="the lowest speed first"):
        read_settings(yamlfile.parse(text, "controller.yaml"))
