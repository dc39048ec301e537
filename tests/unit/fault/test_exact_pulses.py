"""Pulses come exactly where extra pulses and noise say.

Four even teeth at 1000 rpm and a clock of a megahertz: tooth n of turn t rises at
60,000 (t - 1) + 15,000 (n - 1) and falls 7,500 ticks later; a degree is 166 2/3 ticks.
"""

from dataclasses import replace
from fractions import Fraction
from itertools import islice

import numpy as np

from edgewheel.edges.table import join
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.signal import signal_of
from edgewheel.motion.cam import CamTiming
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import find
from signals import HZ, faulty, gone_and_new, sound, turns


def test_an_extra_pulse_stands_in_the_space_behind_its_tooth():
    gone, new = gone_and_new(
        "kind: extra_pulse, track: crank, teeth: [3], width_us: 100, at_percent: 20, every: 3"
    )
    assert gone == []
    assert new == [(159_000, "crank", 1), (159_100, "crank", 0)]


def test_an_extra_pulse_that_does_not_fit_is_left_out():
    assert gone_and_new("kind: extra_pulse, track: crank, width_us: 3750")[1] == []
    assert len(gone_and_new("kind: extra_pulse, track: crank, width_us: 3749")[1]) == 22


def test_noise_by_time_comes_once_in_every_slot_on_all_its_tracks():
    signal = faulty(
        "kind: noise, tracks: [crank, cam], width_us: 5, bursts_per_s: 100, pulses: 2, gap_us: 7"
    )
    on_cam = [tick for kind, tick, _ in signal.changes if (tick, "cam") in
              {(t, n) for t, n, _ in signal.rows}]  # fmt: skip
    starts = sorted(set(on_cam))[::4]
    assert [tick // 10_000 for tick in starts] == list(range(18))
    for tick in starts:
        at = [t - tick for t, name, _ in signal.rows if name == "cam" and 0 <= t - tick < 20]
        assert at == [0, 5, 12, 17]


def test_noise_of_the_ignition_follows_the_crank_even_on_a_ramp():
    """The tooth edge at 90 degrees and the ignition 10 degrees before 100 are one place."""
    motion = Motion([ramp(Fraction(200), Fraction(2000), turns=Fraction(4))])
    signal = faulty(
        "kind: noise, tracks: [cam], width_us: 5, ignition_deg: 10, delay_us: 40", motion=motion
    )
    added = [tick for kind, tick, _ in signal.changes][::2]
    edges = [tick for tick, level in sound(motion=motion).on("crank") if level][1::2]
    starts = sorted({tick for _, tick, _ in signal.changes})[::2]
    assert added and starts == [tick + 40 for tick in edges]


def test_a_two_stroke_ignites_in_each_turn():
    wheel = find("24-minus-1-two-stroke")
    signal = signal_of(wheel, [track.sensor for track in wheel.tracks], turns(3), {}, 1)
    assert sorted(signal.tdc_deg) == [60, 180, 300, 420, 540, 660]


def test_noise_of_the_ignition_stays_with_the_crank_when_a_motion_times_the_cam():
    words = "kind: noise, tracks: [crank], width_us: 5, ignition_deg: 20"
    timed = Motion([hold(Fraction(1000), turns=Fraction(3))], Fraction(0), {"cam": CamTiming()})
    assert sorted(faulty(words, motion=timed).changes) == sorted(faulty(words).changes) != []


def test_noise_that_overlaps_an_edge_is_left_out_on_that_track_only():
    """40 us before the tooth's edge at 90 degrees, for 50 us."""
    signal = faulty("kind: noise, tracks: [crank, cam], width_us: 50, ignition_deg: 10.24")
    assert signal.on("crank") == sound(motion=turns(3)).on("crank")
    assert (14_960, 0) in signal.on("cam") and (15_010, 1) in signal.on("cam")


def test_every_third_ignition():
    signal = faulty("kind: noise, tracks: [cam], width_us: 5, ignition_deg: 10, every: 3")
    assert sorted(tick for _, tick, _ in signal.changes) == [75_000, 75_005, 165_000, 165_005]


def read_from(begin_s, words, motion):
    """Header and first edges of the signal, read from a time on."""
    plan = faulty(words, motion=turns(1)).plan
    pipeline = Pipeline(replace(plan, motion=motion), HZ)
    header, chunks = pipeline.table(Fraction(begin_s), 512)
    return header, join(*islice(chunks, 2))


def test_noise_far_into_a_day_is_not_reckoned_from_its_start():
    """Ten days at speed: 60 million ignitions lie before, and each third is still the same."""
    motion = Motion([hold(Fraction(1000), seconds=Fraction(2_000_000))])
    words = "kind: noise, tracks: [cam], width_us: 5, ignition_deg: 10, every: 3"
    header, late = read_from(900_000, words, motion)
    ticks = late.ticks[late.track == header.tracks.index("cam")]
    pulses = ticks[:-1][np.diff(ticks) == 5]
    assert len(pulses) > 10 and set((pulses % 90_000).tolist()) == {75_000}


def test_noise_of_the_ignition_is_the_same_wherever_a_reading_begins():
    motion = Motion(
        [
            ramp(Fraction(200), Fraction(2000), turns=Fraction(8)),
            hold(Fraction(0), seconds=Fraction(1)),
            ramp(Fraction(0), Fraction(900), turns=Fraction(30)),
        ]
    )
    words = "kind: noise, tracks: [cam], width_us: 5, ignition_deg: 10, delay_us: 40, chance: 0.4"
    whole = faulty(words, motion=motion).edges
    for begin_s in ("0.31", "0.9", "3.3"):
        begin = int(Fraction(begin_s) * HZ)
        _, late = read_from(begin_s, words, motion)
        later = whole.ticks[whole.ticks >= begin]
        assert len(late) > 20 and late.ticks.tolist() == later[: len(late)].tolist()
