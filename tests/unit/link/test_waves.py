"""Half-waves and codes: what PROTOCOL.md says, and what a VR sensor's signal should look like."""

import random
from dataclasses import replace
from itertools import pairwise

import pytest

import wire_vectors
from edgewheel.link.frames import LARGEST_FRAME, SMALLEST_FRAME
from edgewheel.link.messages import MalformedError
from edgewheel.link.waves import HalfWave, Number, Numbers, WaveForm, WaveTrack
from plain_waves import MIDDLE, code_of, lifted

SINE = bytes((0, 50, 98, 142, 180, 212, 236, 250, 255, 250, 236, 212, 180, 142, 98, 50, 0))
FORM = WaveForm(30_000, 1, (HalfWave(1_000, SINE), HalfWave(3_000, SINE)))


@pytest.mark.parametrize("vector", wire_vectors.vectors()["waves"], ids=lambda v: v["name"])
def test_the_vectors(vector):
    form = WaveForm.read(bytes.fromhex(vector["fields"]))
    track = WaveTrack(form)
    told = [track.tell(*one) for one in zip(vector["lengths"], vector["masks"], strict=True)]
    assert [one.kind for one in told] == vector["kinds"]
    assert [one.height for one in told] == vector["heights"]


def test_a_form_comes_back_from_its_config_and_unknown_tags_are_skipped():
    config = FORM.config(1, 5)
    assert (config.wave, config.output) == (1, 5)
    assert WaveForm.read(config.fields) == FORM
    numbers = Numbers(6, (Number(), Number(9, 1), Number(8), Number(7, 0)))
    whole = replace(FORM, corner_ticks=3_000_000, numbers=numbers)
    assert WaveForm.read(whole.config(1, 5).fields) == whole
    assert WaveForm.read(b"\xc8\x02ab" + config.fields + b"\0\0") == FORM


def test_the_longest_form_fits_a_frame():
    half_waves = tuple(HalfWave(1_000 + n, SINE) for n in range(8))
    form = WaveForm(30_000, 1, half_waves, 3_000_000, Numbers(2, (Number(9, 7),) * 16))
    assert len(form.config(1, 5).pack()) <= LARGEST_FRAME - SMALLEST_FRAME


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
    assert track.tell(900).height == 30_000


def test_a_wrong_guess_heals_at_the_next_gap():
    """After a rest the first half-wave may be any; the gap of a wheel tells it."""
    track = WaveTrack(FORM)
    track.tell(2_000)
    track.tell(10**8)
    heights = [track.tell(ticks).height for ticks in (6_000, *[2_000] * 5, 6_000, 6_000, 2_000)]
    assert heights[2:] == [15_000] * 7


GAPS = {
    "60-2": [3] * 114 + [9] * 2,
    "36-1": [5] * 68 + [10] * 2,
    "36-2-2-2": ([5] * 24 + [15] * 2) * 2 + [5] * 2 + [15] * 2,
    "unequal windows": [45, 55, 60, 55, 45, 25, 20, 55],
}
"""The half-waves of a turn, in degrees."""


def wrong(degrees, ticks_per_deg, cut):
    """The share of whole half-waves whose height is off by more than 10 %.

    `ticks_per_deg` are as many as `degrees`; `cut(n, ticks)` are the pieces of a half-wave.
    """
    kinds = sorted(set(degrees))
    form = WaveForm(30_000, 1, tuple(HalfWave(1_000 * kind, SINE) for kind in kinds))
    track, whole, bad = WaveTrack(form), 0, 0
    for n, (length, scale) in enumerate(zip(degrees, ticks_per_deg, strict=True)):
        pieces = cut(n, round(length * scale))
        told = [track.tell(piece) for piece in pieces]
        if len(pieces) == 1:
            whole += 1
            bad += abs(told[0].height / min(30_000, 30_000_000 / scale) - 1) > 0.1
    return bad / whole


def pulse(ticks, at, width):
    first = round((ticks - width) * at)
    return [first, width, ticks - width - first]


@pytest.mark.parametrize("wheel", GAPS)
@pytest.mark.parametrize(("width", "every", "most"), [(20, 25, 0.02), (600, 25, 0.1), (20, 7, 0.1)])
def test_half_waves_cut_by_noise_mislead_nobody_for_long(wheel, width, every, most):
    """Pulses of 20 ticks anywhere, and of a tenth of a half-wave; where each piece was believed to
    be a half-wave, a third to nearly all heights were wrong until the next gap."""
    rng = random.Random(every)
    degrees = GAPS[wheel] * (3_000 // len(GAPS[wheel]))

    def cut(n, ticks):
        return pulse(ticks, rng.random(), width) if n > 20 and rng.random() * every < 1 else [ticks]

    assert wrong(degrees, [2_000] * len(degrees), cut) < most


@pytest.mark.parametrize("at", [0.05, 0.2, 0.5, 0.8])
@pytest.mark.parametrize("wheel", list(GAPS)[:3])
def test_a_pulse_in_every_space_of_a_wheel_whose_speed_changes(wheel, at):
    """Its pieces tell no speed, and the whole half-waves between them do, on a steep ramp too."""
    degrees = GAPS[wheel] * 20
    scales = [6_000 / (1 + 20 * n / len(degrees)) for n in range(len(degrees))]

    def cut(n, ticks):
        return pulse(ticks, at, 20) if n % 2 else [ticks]

    assert wrong(degrees, scales, cut) < 0.01


def test_a_late_tooth_is_not_believed():
    """By 2 of 3 degrees: what is before it is longer, what is behind it shorter than ever."""
    degrees = GAPS["60-2"] * 20
    shifts = {20: 5 / 3, 22: 1 / 3}
    track = WaveTrack(WaveForm(30_000, 1, (HalfWave(3_000, SINE), HalfWave(9_000, SINE))))
    told = [
        track.tell(round(6_000 * length / 3 * shifts.get(n % 116, 1)))
        for n, length in enumerate(degrees)
    ]
    heights = [one.height for n, one in enumerate(told) if n % 116 not in shifts]
    assert sum(height != 15_000 for height in heights) < 0.02 * len(heights)


@pytest.mark.parametrize("wheel", list(GAPS)[:3])
@pytest.mark.parametrize(("before", "after"), [(6_000, 2_300), (2_300, 900), (6_000, 900)])
def test_a_jump_of_speed_is_believed_at_once(wheel, before, after):
    """The first half-wave is a spike if it is shorter than three eighths, but not the second."""
    degrees = GAPS[wheel] * 2
    scales = [before] * len(degrees) + [after] * len(degrees)
    assert wrong(degrees * 2, scales, lambda _, ticks: [ticks]) <= 1 / len(scales)


@pytest.mark.parametrize("wheel", list(GAPS)[:3])
def test_a_wheel_that_starts_to_turn_is_followed(wheel):
    """From rest at an even acceleration, the first half-wave left out: it may be of any kind."""
    degrees = GAPS[wheel]
    moments = [sum(degrees[:n]) ** 0.5 for n in range(len(degrees) + 1)]
    scales = [
        20_000 * (b - a) / length for (a, b), length in zip(pairwise(moments), degrees, strict=True)
    ]
    assert wrong(degrees, scales, lambda _, ticks: [ticks]) == 0


def test_a_speed_believed_wrongly_heals_at_the_gap_beside_pulses_too():
    """Pieces that are alike pass for a wheel at twice its speed; every half-wave then fits as a
    gap, until there is a longer one than that."""
    track = WaveTrack(WaveForm(30_000, 1, (HalfWave(1_000, SINE), HalfWave(2_000, SINE))))
    heights = [
        track.tell(ticks).height
        for ticks in (2_000, 2_000, 700, 700, 700, *[1_900] * 3, 20, *[3_800] * 2, *[1_900] * 3)
    ]
    assert heights[4:8] == [30_000] * 4
    assert heights[9:] == [15_789] * 5


def test_the_ninth_spike_and_the_fifth_misfit_in_a_row_are_believed():
    track = WaveTrack(FORM)
    assert [track.tell(ticks).height for ticks in (2_000, *[100] * 9)][-2:] == [15_000, 30_000]
    track = WaveTrack(FORM)
    assert {track.tell(ticks).height for ticks in (2_000, *[100] * 8, 1_500, 100)} == {15_000}
    track = WaveTrack(FORM)
    heights = [track.tell(ticks).height for ticks in (4_000, *[10, 2_800] * 5, 2_800)]
    assert heights[-4::2] == [7_500, 10_714]
    assert heights[-1] == 10_714


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
