"""Faults of lines change exactly the edges that they say: weak, lost, loose, swapped, turned.

Four even teeth at 1000 rpm and a clock of a megahertz: tooth n of turn t rises at
60,000 (t - 1) + 15,000 (n - 1) and falls 7,500 ticks later; a degree is 166 2/3 ticks.
"""

from fractions import Fraction
from itertools import pairwise

from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold
from edgewheel.wheel.model import Sensor
from signals import Signal, faulty, gone_and_new, sound, turns

CAM = [(1667, 1), (31_667, 0), (121_667, 1), (151_667, 0)]


def test_a_weak_signal_loses_the_teeth_below_the_threshold():
    """At 1000 rpm every tooth gives 400 mV, give or take 30 %: 520, 400, 280, 400."""
    words = "kind: weak_signal, track: crank, peak_mv_at_1000_rpm: 400, runout_percent: 30"
    gone, _ = gone_and_new(f"{words}, threshold_mv: 300")
    assert [row[0] for row in gone if row[2]] == [30_000, 90_000, 150_000]
    assert gone_and_new(f"{words}, threshold_mv: 279")[0] == []
    assert len(faulty(f"{words}, threshold_mv: 521").on("crank")) == 0


def test_compression_weakens_the_teeth_where_the_crank_is_slowest():
    """Slowest at 0 and 180 degrees: speed / mean is 0.745 there and 1.118 at 90 and 270."""
    ripple = CompressionRipple(Fraction(1, 5), Fraction(2))
    motion = Motion([hold(Fraction(1000), turns=Fraction(2), ripple=ripple)])
    words = "kind: weak_signal, track: crank, peak_mv_at_1000_rpm: 400, threshold_mv: 400"
    left = faulty(words, motion=motion).on("crank")
    whole = sound(motion=motion).on("crank")
    assert left == [row for number, row in enumerate(whole) if number // 2 % 2 == 1]


def test_a_lost_track_shows_what_it_is_told_to():
    words = "kind: lost, track: cam, from_s: 0.01, to_s: 0.13"
    assert faulty(words).on("cam") == [(1667, 1), (151_667, 0)]
    assert faulty(f"{words}, shows: low").on("cam") == [
        (1667, 1), (10_000, 0), (130_000, 1), (151_667, 0)
    ]  # fmt: skip
    assert faulty("kind: lost, track: cam, shows: high").header.initial == (0, 1)
    assert faulty("kind: lost, track: cam, shows: high").on("cam") == []


def test_a_loose_contact_opens_with_its_teeth():
    words = "kind: loose, track: crank, teeth: [2], lasts_ms: 20, shows: high, to_turn: 1"
    gone, new = gone_and_new(words)
    assert gone == [(22_500, "crank", 0), (30_000, "crank", 1)]
    assert new == []


def test_a_loose_contact_opens_once_in_every_slot():
    signal = faulty("kind: loose, track: cam, breaks_per_s: 10, lasts_ms: 1, shows: high",
                    motion=turns(50))  # fmt: skip
    opens = [t for t, level in signal.on("cam") if level and (t + 1000, 0) in signal.on("cam")]
    slots = [tick // 100_000 for tick in opens]
    assert len(set(slots)) == len(slots) > 10


def test_swapped_polarity_turns_every_edge_over():
    signal = faulty("kind: polarity, track: crank")
    assert signal.header.initial == (1, 0)
    assert signal.on("crank") == [(t, 1 - v) for t, v in sound(motion=turns(3)).on("crank")]
    assert {change[0] for change in signal.changes} == {"turned"}


def test_polarity_swapped_for_a_turn_has_edges_only_where_levels_differ():
    gone, new = gone_and_new("kind: polarity, track: crank, from_turn: 1, to_turn: 2")
    assert (60_000, "crank", 1) in gone and (120_000, "crank", 1) in gone
    assert [row[0] for row in new] == list(range(67_500, 120_000, 7_500))


def test_reversed_leads_of_a_vr_sensor_time_by_the_spaces():
    vr = {"crank": Sensor("vr")}
    sound_falls = [t for t, v in Signal(sensors=vr).on("crank") if not v]
    falls = [t for t, v in faulty("kind: leads_reversed, track: crank", sensors=vr).on("crank")
             if not v]  # fmt: skip
    assert sound_falls[:3] == [3750, 18_750, 33_750]
    assert falls[:3] == [11_250, 26_250, 41_250]


def test_swapped_tracks_are_each_the_other():
    signal = faulty("kind: swapped, track: crank, other: cam")
    assert signal.on("crank") == CAM
    assert signal.on("cam") == sound(motion=turns(3)).on("crank")


def test_flips_give_the_opposite_level():
    gone, new = gone_and_new("kind: flips, flips: [[crank, 15000, 22500], [cam, -1, 2000]]")
    assert gone == [(1667, "cam", 1), (15_000, "crank", 1), (22_500, "crank", 0)]
    assert new == [(1667, "cam", 0), (2000, "cam", 1)]


def test_pulses_however_short_pass_a_line_that_is_rewired_later():
    noise = "n: {kind: noise, tracks: [crank], width_us: 0.3, bursts_per_s: 100}"
    lost = "p: {kind: lost, track: crank, from_turn: 1.9}"
    alone, stacked = (
        Signal(f"{{{faults}}}", tick_hz=125_000_000).on("crank")
        for faults in (noise, f"{noise}, {lost}")
    )
    assert any(b[0] - a[0] < 40 for a, b in pairwise(alone))
    assert stacked == [row for row in alone if row[0] < 1.9 * 0.06 * 125_000_000]


def test_flips_that_meet_or_overlap_are_one():
    """All within tooth 2, which passes from 15,000 to 22,500; they need not be in order."""
    three = "[crank, 17000, 19000], [crank, 16000, 17000], [crank, 18000, 18500]"
    gone, new = gone_and_new(f"kind: flips, flips: [{three}, [crank, 19500, 20000]]")
    assert gone == []
    assert new == [(t, "crank", v) for t, v in ((16000, 0), (19000, 1), (19500, 0), (20000, 1))]
