"""What the simulated controller makes of each fault: what the trade expects of a real one.

Common practice, no source, unless a line gives the arithmetic. 60-2 with a half-moon cam at 1500
rpm: a tooth period is 667 us and 6 degrees, a tooth 3 degrees wide.
"""

import pytest

from fault_bench import play, play_text

STRICT = {"more": ", tooth_ratio_low: 0.5, tooth_ratio_high: 1.2"}
VR = {"sensors": "{crank: {kind: vr}}", "edge": "falling"}


def faulty(words: str, **how):
    return play(f"{{fault: {{kind: {words}}}}}", **how)


def late(heard) -> tuple[float, float]:
    """Degrees by which the earliest and the latest spark are late."""
    return round(min(heard.late_deg), 1), round(max(heard.late_deg), 1)


def test_the_sound_signal_is_no_trouble():
    heard = play()
    assert heard.kept and late(heard) == (0, 0)


def test_bounce_within_the_blanking_is_ignored_and_beyond_it_is_counted():
    """Blanking of 20 % is 133 us after each tooth."""
    words = "bounce, track: crank, after: rise, width_us: 5"
    assert faulty(f"{words}, delay_us: 120", blanking=20).kept
    assert faulty(f"{words}, delay_us: 140", blanking=20).gained == []


def test_noise_shorter_than_the_filter_is_ignored_and_longer_is_counted():
    words = "noise, tracks: [crank], bursts_per_s: 20"
    assert faulty(f"{words}, width_us: 5", filter=6).kept
    heard = faulty(f"{words}, width_us: 7", filter=6)
    assert "gap after tooth" in heard.lost[0].reason or "no gap" in heard.lost[0].reason


def test_noise_of_the_ignition_hides_under_the_blanking_while_it_is_near_a_tooth():
    """10 degrees before TDC is 2 degrees before a tooth begins: 74 - 72, and again 180 on."""
    words = "noise, tracks: [crank], width_us: 20, ignition_deg: 12"
    assert faulty(f"{words}, delay_us: 30", blanking=20).kept
    assert not faulty(f"{words}, delay_us: 400", blanking=20).kept


def test_a_dropped_tooth_makes_the_gap_come_a_tooth_early():
    heard = faulty("dropped_tooth, track: crank, teeth: [30], from_turn: 10, to_turn: 11")
    assert [loss.reason for loss in heard.lost] == ["gap after tooth 57 of 58"]
    assert len(heard.gained) == 2


def test_a_tooth_that_is_missing_is_missed_on_every_turn():
    heard = faulty("missing_tooth, track: crank, teeth: [30]")
    assert len(heard.lost) >= 2
    assert {loss.reason for loss in heard.lost} == {"gap after tooth 57 of 58"}


def test_an_extra_pulse_that_looks_like_a_tooth_is_one_too_many():
    """It cuts a tooth period in two, the next whole one then seems a gap."""
    words = "extra_pulse, track: crank, teeth: [30], width_us: 50, from_turn: 10, to_turn: 11"
    assert faulty(words).lost[0].reason == "gap after tooth 32 of 58"


def test_a_little_jitter_is_borne_and_a_lot_is_not():
    limits = {"more": ", tooth_ratio_low: 0.5, tooth_ratio_high: 1.6"}
    assert faulty("jitter, track: crank, deg: 0.3", **limits).kept
    assert (
        "ratio" in faulty("jitter, track: crank, deg: 2.9, from_turn: 8", **limits).lost[0].reason
    )


def test_a_late_tooth_is_lost_when_its_period_leaves_the_limits():
    """Late by x of 6 degrees, the period after the next one is 6 / (6 - x) of it: limit 1.2."""
    words = "late_tooth, track: crank, teeth: [17], from_turn: 10"
    assert faulty(f"{words}, deg: 0.95", **STRICT).kept
    heard = faulty(f"{words}, deg: 1.05", **STRICT)
    assert heard.lost[0].reason == "time ratio 1.21 at tooth 19 out of limits"


def test_a_bent_tooth_within_the_limits_goes_unnoticed():
    assert faulty("bent_tooth, track: crank, teeth: [17], by_deg: 0.8", **STRICT).kept
    assert not faulty("bent_tooth, track: crank, teeth: [17], by_deg: 1.05", **STRICT).kept


@pytest.mark.parametrize(("rpm", "synced"), [(200, False), (300, False), (370, True)])
def test_a_weak_vr_signal_needs_speed(rpm, synced):
    """900 mV at 1000 rpm reach 300 mV at 333 rpm."""
    words = "weak_signal, track: crank, peak_mv_at_1000_rpm: 900, threshold_mv: 300"
    heard = faulty(words, motion=f"[{{hold: {rpm}, seconds: 1}}]", **VR)
    assert bool(heard.gained) == synced


def test_a_loose_contact_of_five_milliseconds_looks_like_a_long_gap():
    heard = faulty("loose, track: crank, lasts_ms: 5, teeth: [30], from_turn: 10, to_turn: 11")
    assert heard.lost[0].reason == "time ratio 9.00 at tooth 30 out of limits"


def test_a_dead_crank_sensor_is_a_stall():
    heard = faulty("lost, track: crank, from_turn: 9")
    assert heard.lost[0].reason == "no teeth for 200 ms"


def test_a_dead_cam_loses_the_phase_and_not_the_crank():
    heard = faulty("lost, track: cam, from_turn: 9")
    assert heard.lost[0].reason == "the cam says the other turn"
    assert set(map(round, heard.late_deg)) <= {0, -360}


def test_the_wrong_edge_of_the_crank_shifts_the_angle_by_the_width_of_a_tooth():
    heard = faulty("polarity, track: crank")
    assert heard.kept and late(heard) == (3, 3)


def test_the_wrong_edge_on_uneven_teeth_shifts_it_by_their_own_width():
    """With leading edges worn by 2 degrees, the teeth are 1 degree wide."""
    worn = faulty("worn_teeth, track: crank, leading_deg: 2")
    assert worn.kept and late(worn) == (2, 2)
    both = play("{w: {kind: worn_teeth, track: crank, leading_deg: 2}, "
                "p: {kind: polarity, track: crank}}")  # fmt: skip
    assert both.kept and late(both) == (3, 3)
    assert late(both)[0] - late(worn)[0] == 1


@pytest.mark.parametrize("words", ["polarity, track: cam", "shifted, track: cam, by_deg: -60"])
def test_a_cam_on_the_wrong_side_fires_a_turn_out(words):
    """The cam is high from 40 to 400 degrees, so it may be 40 early before it is low at 360."""
    heard = faulty(words)
    assert not heard.kept
    assert heard.lost[0].cause == "position" and "360.0 degrees" in heard.lost[0].detail


@pytest.mark.parametrize(
    "words",
    [
        "shifted, track: cam, by_deg: -30",
        "wandering, track: cam, range_deg: 20, period_s: 0.3",
    ],
)
def test_a_cam_that_is_only_a_little_off_is_no_trouble(words):
    assert faulty(words).kept


def test_swapped_plugs_never_sync():
    assert faulty("swapped, track: crank, other: cam").gained == []


@pytest.mark.parametrize("low", [1.8, 2.2])
def test_reversed_leads_make_two_short_gaps_of_one(low):
    """Timed by the spaces, the gap is two periods of two pitches each, one after the other."""
    assert faulty("leads_reversed, track: crank", low=low, **VR).gained == []
    assert play(low=low, **VR).kept


def test_an_eccentric_wheel_swings_the_timing_by_its_angle():
    """atan(0.02) is 1.15 degrees either way; the speed of a whole turn is right."""
    heard = faulty("eccentric, track: crank, offset_percent: 2")
    early, latest = late(heard)
    assert heard.kept
    assert -1.2 <= early < -0.7 and 0.7 < latest <= 1.2


def test_a_false_start_is_forgotten_and_the_real_one_syncs():
    """20 teeth at 150 rpm in 0.16 s, rest until 0.63 s, then as if nothing had been."""
    heard = faulty("false_start, track: crank, teeth: 20, pause_s: 0.5")
    assert heard.kept
    assert 0.63 < heard.gained[0] < 0.75


def test_flips_are_as_good_as_what_they_describe():
    """Tooth 30 of turn 11, 29 teeth of 667 us into it, for half a tooth."""
    begin = 10 * 40_000 + 29 * 2_000 / 3
    heard = faulty(f"flips, flips: [[crank, {begin:.4f}, {begin + 1_000 / 3:.4f}]]")
    assert [loss.reason for loss in heard.lost] == ["gap after tooth 57 of 58"]


EVEN = """
format: 1
name: Even
wheel: 12-even-1-tooth-cam
board: {kind: sim, tick_hz: 16000000}
controller:
  kind: sim
  settings:
    crank: {line: crank}
    cam: {line: cam}
    wheel: {kind: even_teeth, teeth: 24, mark_every: cam}
    engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}
motion: {segments: [{hold: 1500, seconds: 1}]}
faults: {lost: {kind: lost, track: cam, off: OFF}}
"""


def test_an_even_wheel_without_its_cam_gives_speed_and_never_position():
    with_cam = play_text(EVEN.replace("OFF", "true"))
    without = play_text(EVEN.replace("OFF", "false"))
    assert with_cam.gained
    assert without.gained == [] and without.late_deg == []
    speeds = [report["rpm"] for report in without.reports if 0.3 < report["seconds"] < 0.95]
    assert speeds and all(abs(rpm - 1500) < 15 for rpm in speeds)
