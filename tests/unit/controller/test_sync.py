"""Gaining and losing sync, by family: what is asked first, what is said when it goes."""

import numpy as np
import pytest

from edgewheel.controller.sim.decoder import NO_TOOTH
from edgewheel.controller.sim.family import decoder_for
from sim_trains import (
    TICK_HZ,
    WHEELS,
    evenly,
    ramp,
    run,
    settings_from,
    spark_angles,
    steady,
    train,
)

SIXTY = WHEELS["60-2 with half-moon cam"]
EVEN = WHEELS["even 12 with one-tooth cam"]
ADDED = WHEELS["12 and one added"]
SINGLE = WHEELS["one tooth a cylinder"]
WINDOWS = WHEELS["uneven windows on a cam"]
DISC = WHEELS["360-slit disc with unequal windows"]
FAST = "report: {rate_hz: 500, baud: 2000000}"


def settings_of(wheel, **changes):
    return settings_from(wheel.settings, FAST, **changes)


def without_teeth(signal, *which):
    """The train without the n-th pulses of line 0, rise and fall."""
    changes = np.flatnonzero(np.diff(signal.masks & 1, prepend=signal.initial_mask & 1))
    rise = 0 if signal.masks[changes[0]] & 1 else 1
    gone = [changes[rise + 2 * n + side] for n in which for side in (0, 1)]
    ticks, masks = np.delete(signal.ticks, gone), np.delete(signal.masks, gone)
    return type(signal)(signal.lines, signal.initial_mask, ticks, masks)


def degrees_to(result, signal, sync, rpm):
    """Crank degrees from the first edge to the first report of this sync."""
    tick = next(report.tick for report in result.reports if report.sync == sync)
    return (tick - signal.ticks[0]) / TICK_HZ * 6 * rpm


@pytest.mark.parametrize(("gaps", "turns"), [(1, 1), (2, 2), (3, 3)])
def test_as_many_gaps_as_are_wanted_come_before_sync(gaps, turns):
    signal = train(SIXTY.pulses, steady(600), 6, from_deg=10)
    result = run(signal, settings_of(SIXTY, sync__gaps_wanted=str(gaps)))
    assert degrees_to(result, signal, "crank", 600) == pytest.approx(360 * turns - 10, abs=12)


@pytest.mark.parametrize(("ignored", "turns"), [(0, 1), (4, 1), (20, 2)])
def test_a_gap_among_the_ignored_first_teeth_is_not_seen(ignored, turns):
    signal = train(SIXTY.pulses, steady(600), 6, from_deg=290)
    text = SIXTY.settings.replace("gaps_wanted: 1", f"gaps_wanted: 1, ignored_teeth: {ignored}")
    result = run(signal, settings_from(text, FAST))
    assert degrees_to(result, signal, "crank", 600) == pytest.approx(360 * turns - 290, abs=12)


def test_ordinary_teeth_are_wanted_before_a_gap_is_believed():
    signal = train(SIXTY.pulses, steady(600), 6, from_deg=290)
    text = SIXTY.settings.replace("gaps_wanted: 1", "gaps_wanted: 1, teeth_wanted: 12")
    result = run(signal, settings_from(text, FAST))
    assert degrees_to(result, signal, "crank", 600) == pytest.approx(430, abs=12)


def test_a_missing_tooth_is_a_gap_where_none_was_due_and_sync_comes_back():
    signal = without_teeth(train(SIXTY.pulses, steady(1000), 16), 58 * 8 + 20)
    result = run(signal, settings_of(SIXTY, wheel__gap_ratio_low="1.8"))
    lost = next(report for report in result.reports if report.losses)
    assert (lost.sync, lost.reason) == ("none", "gap after tooth 20 of 58")
    assert (result.last.sync, result.last.losses) == ("full", 1)


def test_after_a_loss_it_may_be_locked_until_the_engine_has_stopped():
    signal = without_teeth(train(SIXTY.pulses, steady(1000), 16), 58 * 8 + 20)
    again = train(SIXTY.pulses, steady(1000), 8, start_tick=int(signal.ticks[-1]) + TICK_HZ)
    settings = settings_of(SIXTY, sync__resync="after_stop")
    assert run(signal, settings).last.sync == "none"
    assert run(signal.merged(again), settings).last.sync == "full"


def test_a_missing_tooth_forgiven_is_made_good_at_the_gap():
    signal = without_teeth(train(SIXTY.pulses, steady(1000), 16), 58 * 8 + 20)
    tolerant = settings_of(SIXTY, wheel__gap_ratio_low="2.2", sync__errors_allowed="2")
    result = run(signal, tolerant)
    assert (result.last.sync, result.last.losses) == ("full", 0)
    assert result.last.reason == "gap after tooth 57 of 58"
    assert spark_angles(result, "coil_1", 1000)[-1] == pytest.approx(74, abs=0.02)


@pytest.mark.parametrize(("stall_ms", "sync"), [("600", "crank"), ("400", "none")])
def test_the_stall_time_out_sets_the_lowest_speed(stall_ms, sync):
    # 36-2 at 10 rpm: a pitch takes 167 ms, the gap 500 ms
    wheel = WHEELS["36-2"]
    settings = settings_from(wheel.settings, f"sync: {{stall_ms: {stall_ms}}}")
    result = run(train(wheel.pulses, steady(10), 4), settings)
    assert result.last.sync == sync


def test_even_teeth_lose_sync_by_the_count_between_marks():
    signal = train(EVEN.pulses, steady(1000), 20)
    result = run(without_teeth(signal, 100), settings_of(EVEN))
    lost = next(report for report in result.reports if report.losses)
    assert lost.reason == "tooth count 23 of 24 between marks"
    assert (result.last.sync, result.last.losses) == ("full", 1)


def test_even_teeth_with_a_dead_cam_count_past_the_end():
    signal = train(EVEN.pulses, steady(1000), 10)
    dead = train({**EVEN.pulses, "cam": [(0, 0)]}, steady(1000), 10)
    shift = int(signal.ticks[-1]) + 80_000
    moved = type(dead)(dead.lines, 0, dead.ticks + shift - dead.ticks[0], dead.masks)
    result = run(signal.merged(moved), settings_of(EVEN))
    assert result.last.sync == "none"
    assert "no mark after 24 teeth" in {report.reason for report in result.reports}
    assert result.last.reason == "no mark in 50 teeth"


def test_the_wrong_count_of_even_teeth_never_syncs():
    text = EVEN.settings.replace("teeth: 24", "teeth: 22")
    settings = settings_from(text, "sync: {gaps_wanted: 2}")
    result = run(train(EVEN.pulses, steady(1000), 20), settings)
    assert result.last.sync == "none"
    assert result.last.reason == "no mark after 22 teeth"


def test_a_mark_on_the_crank_gives_the_turn_but_not_the_cycle():
    pulses = {"crank": evenly(12, 15), "cam": evenly(1, 10, first=320)}
    settings = settings_of(EVEN, wheel__teeth="12", wheel__mark_every="crank")
    result = run(train(pulses, steady(1000), 10), settings)
    assert (result.last.sync, result.last.losses) == ("crank", 0)


@pytest.mark.parametrize(("pair", "found"), [((50, 50), 0), ((60, 45), 0), ((74, 74), NO_TOOTH)])
def test_two_short_periods_are_the_added_tooth_only_if_they_last_as_one_pitch(pair, found):
    decoder = decoder_for(settings_of(ADDED))
    ticks = np.cumsum([1000, 100, 100, 100, 100, 100, *pair])
    assert [decoder.tooth(int(tick), 1) for tick in ticks][-1] == found


@pytest.mark.parametrize(
    ("gone", "reason"),
    [(12, "no added tooth after tooth 12"), (13, "no tooth after the added one")],
)
def test_a_tooth_of_the_short_pair_that_breaks_off_is_missed(gone, reason):
    signal = train(ADDED.pulses, steady(1000), 12)
    result = run(without_teeth(signal, 13 * 8 + gone), settings_of(ADDED))
    lost = next(report for report in result.reports if report.losses)
    assert lost.reason == reason
    assert (result.last.sync, result.last.losses) == ("crank", 1)


def test_the_wrong_count_of_teeth_before_the_added_one():
    text = ADDED.settings.replace("teeth: 12", "teeth: 11")
    result = run(train(ADDED.pulses, steady(1000), 12), settings_from(text))
    assert result.last.losses > 3
    assert "no added tooth after tooth 11" in {report.reason for report in result.reports}


def test_one_tooth_a_cylinder_loses_its_rhythm_by_the_time_ratio():
    signal = train(SINGLE.pulses, steady(1000), 20)
    text = SINGLE.settings.replace("cylinders: 4", "cylinders: 4, tooth_ratio_high: 1.7")
    result = run(without_teeth(signal, 20), settings_from(text))
    assert result.last.losses == 1
    assert result.last.reason == "time ratio 2.00 between teeth out of limits"
    assert result.last.sync == "firing"


def test_windows_are_lost_by_their_share_of_time_and_by_a_missing_edge():
    signal = train(WINDOWS.pulses, steady(1000), 20)
    result = run(without_teeth(signal, 20), settings_of(WINDOWS))
    lost = next(report for report in result.reports if report.losses)
    assert lost.reason == "window of 19 % of the time where 39 % was due"
    assert (result.last.sync, result.last.losses) == ("full", 1)


def test_windows_read_with_one_edge_or_upside_down_never_sync():
    signal = train(WINDOWS.pulses, steady(1000), 20)
    one_edge = run(signal, settings_of(WINDOWS, crank__edge="falling"))
    assert (one_edge.last.sync, one_edge.last.reason) == ("none", "no known window in 18 edges")
    text = WINDOWS.settings.replace("edge: both", "edge: both, inverted: true")
    assert run(signal, settings_from(text)).last.sync == "none"


def test_slits_lost_shift_the_windows():
    signal = without_teeth(train(DISC.pulses, steady(1000), 12), 1000, 1001, 1002)
    result = run(signal, settings_of(DISC))
    lost = next(report for report in result.reports if report.losses)
    assert lost.reason == "a window opens -3 slits from where an edge was due"
    assert (result.last.sync, result.last.losses) == ("full", 1)


def test_a_dead_window_track_is_noticed_within_two_turns_of_the_disc():
    alive = train(DISC.pulses, steady(1000), 8)
    dead = train({**DISC.pulses, "window": [(0, 0)]}, steady(1000), 8)
    moved = dead.ticks - dead.ticks[0] + alive.ticks[-1] + TICK_HZ // 6000
    both = alive.merged(type(dead)(dead.lines, 0, moved, dead.masks))
    result = run(both, settings_of(DISC))
    assert "no window in a whole turn of the disc" in {report.reason for report in result.reports}
    assert result.last.sync == "none"


def test_the_number_of_cam_edges_in_each_turn_gives_the_phase():
    pulses = {**SIXTY.pulses, "cam": [(50, 60), (120, 140), (500, 520)]}
    by_count = "{by: count, first_turn_edges: 2, second_turn_edges: 1, errors_allowed: 0}"
    text = SIXTY.settings.replace("{by: level, level: high, turns_wanted: 2}", by_count)
    signal = train(pulses, steady(1000), 20, 90.0)
    result = run(signal, settings_from(text))
    assert (result.last.sync, result.last.losses) == ("full", 0)
    assert spark_angles(result, "coil_1", 1000, 90.0)[-1] == pytest.approx(74, abs=0.02)
    wrong = run(signal, settings_from(text, phase__first_turn_edges="3"))
    assert wrong.last.sync == "crank"
    assert wrong.last.reason == "2 cam edges in a turn, where 3 or 1 were due"


def test_a_missing_tooth_wheel_on_the_cam_gives_the_whole_cycle():
    pulses = {"cam": evenly(60, 6, period=720, keep=58)}
    text = SIXTY.settings.replace("line: crank", "line: cam").replace("cam: {line: cam}", "")
    text = text.replace("{by: level, level: high, turns_wanted: 2}", "{by: none}")
    text = text.replace("kind: missing_teeth,", "kind: missing_teeth, shaft: cam,")
    result = run(train(pulses, steady(1000), 12, 90.0), settings_from(text))
    assert (result.last.sync, result.last.losses) == ("full", 0)
    assert result.last.rpm == pytest.approx(1000, rel=1e-3)
    assert spark_angles(result, "coil_3", 1000, 90.0)[-1] == pytest.approx(254, abs=0.02)


def test_an_overrun_that_is_noticed_is_the_reason():
    settings = settings_from(DISC.settings, "interrupts: {crank_cost_us: 40, overrun: lose_sync}")
    result = run(train(DISC.pulses, ramp(8000, 2000), 60), settings)
    assert result.last.losses > 0
    assert "interrupt queue overrun" in {report.reason for report in result.reports}
