"""Half-waves and codes: what PROTOCOL.md says, and what a VR sensor's signal should look like."""

from dataclasses import replace
from itertools import pairwise

import pytest

import wire_vectors
from edgewheel.link.messages import MalformedError
from edgewheel.link.waves import HalfWave, Strengths, WaveForm, WaveTrack
from plain_waves import MIDDLE, code_of, lifted

SINE = bytes((0, 50, 98, 142, 180, 212, 236, 250, 255, 250, 236, 212, 180, 142, 98, 50, 0))
FORM = WaveForm(30_000, 1, (HalfWave(1_000, SINE), HalfWave(3_000, SINE)))


@pytest.mark.parametrize("vector", wire_vectors.vectors()["waves"], ids=lambda v: v["name"])
def test_the_vectors(vector):
    form = WaveForm.read(bytes.fromhex(vector["fields"]))
    track = WaveTrack(form)
    told = [track.tell(ticks) for ticks in vector["lengths"]]
    assert [one.kind for one in told] == vector["kinds"]
    assert [one.height for one in told] == vector["heights"]
    heights = [form.height(one, mask) for one, mask in zip(told, vector["masks"], strict=True)]
    assert heights == vector["strong"]


def test_a_form_comes_back_from_its_config_and_unknown_tags_are_skipped():
    config = FORM.config(1, 5)
    assert (config.wave, config.output) == (1, 5)
    assert WaveForm.read(config.fields) == FORM
    whole = replace(FORM, corner_ticks=3_000_000, strengths=Strengths(6, (32768, 9, 8, 7)))
    assert WaveForm.read(whole.config(1, 5).fields) == whole
    assert WaveForm.read(b"\xc8\x02ab" + config.fields + b"\0\0") == FORM


@pytest.mark.parametrize("cut", [1, 2, 20])
def test_fields_that_are_cut_off_are_malformed(cut):
    with pytest.raises(MalformedError):
        WaveForm.read(FORM.config(0, 0).fields[:-cut])


def test_height_grows_with_speed_up_to_the_knee_through_gaps_and_a_spike():
    track = WaveTrack(FORM)
    assert track.tell(4_000).height == 7_500
    assert track.tell(2_000).height == 15_000
    assert track.tell(6_000).kind == 1
    assert track.tell(6_000).height == 15_000
    assert track.tell(20).height == 15_000
    assert track.tell(2_000).height == 15_000
    assert track.tell(500).height == 30_000


def test_a_wrong_guess_heals_at_the_next_gap():
    """After a rest the first half-wave may be any; the gap of a wheel tells it."""
    track = WaveTrack(FORM)
    track.tell(2_000)
    track.tell(10**8)
    heights = [track.tell(ticks).height for ticks in (6_000, *[2_000] * 5, 6_000, 6_000, 2_000)]
    assert heights[1:] == [15_000] * 8


def test_codes_cross_the_middle_at_both_ends_and_mirror_towards_a_tooth():
    """Of the slow way that the firmware's codes are held against."""
    slope = bytes(range(0, 255, 15))
    form = WaveForm(32_767, 1, (HalfWave(8_000, slope),))
    told = WaveTrack(form).tell(8_000)
    leaves, nears = (
        [code_of(form, told, level, 8_000, at) for at in (0, 7_999)] for level in (0, 1)
    )
    assert leaves[0] == MIDDLE
    assert MIDDLE <= nears[1] < MIDDLE + 10
    assert nears[0] > MIDDLE + 30_000 * 240 / 256


def behind_high_pass(codes, every, corner):
    keeps, last, found = 1 - every / corner, 0.0, []
    for before, code in pairwise([MIDDLE, *codes]):
        last = keeps * (last + code - before)
        found.append(last)
    return found


def test_codes_make_up_for_what_a_high_pass_takes_away():
    """Of a square wave of 20 Hz, one of 6.4 Hz takes nearly two thirds before each edge."""
    every, corner = 1024, 3_108_495
    wanted = [MIDDLE + (5_000 if n // 3052 % 2 else -5_000) for n in range(12_000)]

    def worst(codes):
        got = behind_high_pass(codes, every, corner)
        return max(abs(a - (b - MIDDLE)) for a, b in zip(got, wanted, strict=True))

    assert worst(wanted) > 3_000
    assert worst(lifted(wanted, every, corner)) < 400
