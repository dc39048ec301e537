"""Set wrong, the simulated controller fails the way a real one does."""

import numpy as np
import pytest

from sim_trains import (
    TICK_HZ,
    WHEELS,
    Train,
    evenly,
    ramp,
    run,
    settings_from,
    spark_angles,
    steady,
    train,
)

SIXTY = WHEELS["60-2 with half-moon cam"]
DISC = WHEELS["360-slit disc with unequal windows"]


def sixty(rpm=1000, turns=20, from_deg=90.0):
    return train(SIXTY.pulses, steady(rpm), turns, from_deg)


def with_settings(**changes):
    """The good settings of 60-2, changed by address."""
    text = SIXTY.settings.replace(
        "crank: {line: crank, blanking_percent: 20}",
        "crank: {line: crank, edge: rising, inverted: false, blanking_percent: 20, blanking_us: 0}",
    ).replace("cam: {line: cam}", "cam: {line: cam, edge: rising, inverted: false}")
    return settings_from(text, **changes)


def last_spark(result, rpm=1000):
    return spark_angles(result, "coil_1", rpm, from_deg=90.0)[-1]


@pytest.mark.parametrize(
    ("pitches", "reason"), [("58", "no gap after tooth 56"), ("62", "gap after tooth 58 of 60")]
)
def test_a_wrong_tooth_count_never_syncs_and_says_what_it_counted(pitches, reason):
    result = run(sixty(), with_settings(wheel__pitches=pitches, sync__gaps_wanted="2"))
    assert {report.sync for report in result.reports} == {"none"}
    assert result.last.reason == reason


def test_a_wrong_tooth_count_that_is_believed_at_the_first_gap_loses_sync_again_and_again():
    result = run(sixty(), with_settings(wheel__pitches="62", sync__gaps_wanted="1"))
    assert {report.sync for report in result.reports} == {"none", "crank"}
    assert result.last.losses == 10


def test_a_wrong_missing_count_keeps_the_count_wrong_or_the_gap_unseen():
    one_less = with_settings(wheel__missing="1", wheel__gap_ratio_low="1.5")
    assert run(sixty(), one_less).last.reason == "gap after tooth 58 of 59"
    unseen = with_settings(
        wheel__missing="1", wheel__gap_ratio_low="1.5", wheel__gap_ratio_high="2.7"
    )
    result = run(sixty(), unseen)
    assert result.last.sync == "none"
    assert result.last.reason == "no gap in 120 teeth"


def test_the_wrong_edge_syncs_and_is_late_by_the_width_of_a_tooth():
    result = run(sixty(), with_settings(crank__edge="falling"))
    assert result.last.sync == "full"
    assert last_spark(result) == pytest.approx(74 + 3, abs=0.02)


def test_the_wrong_polarity_of_the_crank_is_the_wrong_edge():
    result = run(sixty(), with_settings(crank__inverted="true"))
    assert last_spark(result) == pytest.approx(74 + 3, abs=0.02)


@pytest.mark.parametrize("change", [{"cam__inverted": "true"}, {"phase__level": "low"}])
def test_the_wrong_polarity_of_the_cam_is_360_degrees_out(change):
    result = run(sixty(), with_settings(**change))
    assert result.last.sync == "full"
    assert last_spark(result) == pytest.approx(74 + 360, abs=0.02)


def test_with_both_edges_the_gap_is_five_times_a_period():
    result = run(sixty(), with_settings(crank__edge="both", crank__blanking_percent="0"))
    assert result.last.sync == "none"
    assert result.last.reason == "no gap in 118 teeth"


def test_blanking_of_more_than_a_third_swallows_the_tooth_after_the_gap():
    assert run(sixty(), with_settings(crank__blanking_percent="32")).last.sync == "full"
    result = run(sixty(), with_settings(crank__blanking_percent="35"))
    assert result.last.sync == "none"


def test_fixed_blanking_limits_the_speed_where_arithmetic_says():
    # 60 places a turn pass at rpm hertz: 250 us blank every second tooth from 4,000 rpm on
    blanked = with_settings(
        crank__blanking_us="250", crank__blanking_percent="0", wheel__gap_ratio_low="1.8"
    )
    up = train(SIXTY.pulses, ramp(3800, 200), turns=140)
    result = run(up, blanked)
    lost = next(report for report in result.reports if report.losses)
    seconds = (lost.tick - up.ticks[0]) / TICK_HZ
    assert 3800 + 200 * seconds == pytest.approx(4000, abs=5)
    assert lost.sync == "none"
    assert lost.reason.startswith("gap after tooth")


def bounced(signal: Train, share: float) -> Train:
    """Every rise of line 0 drops back for 2 us, so many of a tooth pitch after it."""
    rises = np.flatnonzero(np.diff(signal.masks & 1, prepend=signal.initial_mask & 1) == 1)
    pitch = np.median(np.diff(signal.ticks[rises]))
    falls = signal.ticks[rises] + int(share * pitch)
    again = falls + TICK_HZ // 500_000
    ticks = np.concatenate((signal.ticks, falls, again))
    masks = np.concatenate((signal.masks, signal.masks[rises] & 0xFE, signal.masks[rises]))
    order = np.argsort(ticks, kind="stable")
    return Train(signal.lines, signal.initial_mask, ticks[order], masks[order])


def test_blanking_too_short_lets_the_bounce_in_and_long_enough_keeps_it_out():
    signal = bounced(sixty(), share=0.15)
    assert run(signal, with_settings(crank__blanking_percent="20")).last.sync == "full"
    assert run(signal, with_settings(crank__blanking_percent="10")).last.sync == "none"


def test_a_noise_filter_keeps_the_bounce_out_too():
    text = SIXTY.settings.replace("blanking_percent: 20", "filter_us: 3")
    result = run(bounced(sixty(), share=0.15), settings_from(text))
    assert result.last.sync == "full"


def test_a_slow_edge_swallows_narrow_teeth_at_speed():
    # low for half a pitch, 83 us at 6,000 rpm; the input must fall to 40 % before it can rise again
    text = SIXTY.settings.replace(
        "blanking_percent: 20", "rc: {rise_time_constant_us: 2, fall_time_constant_us: 60}"
    )
    assert run(sixty(rpm=6000), settings_from(text)).last.sync == "full"
    slower = text.replace("fall_time_constant_us: 60", "fall_time_constant_us: 150")
    assert run(sixty(rpm=6000), settings_from(slower)).last.sync == "none"
    assert run(sixty(rpm=1500), settings_from(slower)).last.sync == "full"


CAM_EDGE = {**SIXTY.pulses, "cam": [(100.0, 130.0)]}
BY_EDGE = SIXTY.settings.replace(
    "{by: level, level: high, turns_wanted: 2}",
    "{by: edge, window_from_deg: 80, window_to_deg: 120, errors_allowed: 0}",
)


def test_a_cam_edge_inside_its_window_gives_the_phase():
    result = run(train(CAM_EDGE, steady(1000), 20, 90.0), settings_from(BY_EDGE))
    assert result.last.sync == "full"
    assert last_spark(result) == pytest.approx(74, abs=0.02)


def test_a_cam_edge_outside_its_window_leaves_the_crank_alone_and_says_where_it_came():
    settings = settings_from(BY_EDGE, phase__window_from_deg="110", phase__window_to_deg="150")
    result = run(train(CAM_EDGE, steady(1000), 20, 90.0), settings)
    assert result.last.sync == "crank"
    assert result.last.reason == "cam edge at 100 deg, outside its window of 110 to 150 deg"
    assert result.last.losses == 0


def test_a_cam_window_that_is_too_wide_takes_a_false_edge():
    two = {**SIXTY.pulses, "cam": [(100.0, 130.0), (500.0, 510.0)]}
    settings = settings_from(BY_EDGE, phase__window_to_deg="160")
    result = run(train(two, steady(1000), 20, 90.0), settings)
    assert result.last.losses > 5
    assert result.last.reason == "the cam says the other turn"


def test_an_unplugged_cam_never_gives_the_phase_by_level_or_edge():
    crank_only = train({"crank": SIXTY.pulses["crank"]}, steady(1000), 20, 90.0)
    for text in (SIXTY.settings, BY_EDGE):
        result = run(crank_only, settings_from(text))
        assert result.last.sync == "crank"
        assert result.last.losses == 0


def test_a_cam_that_goes_dead_costs_the_phase_once():
    alive = train(CAM_EDGE, steady(1000), 8)
    cut = alive.ticks[-1]
    dead = {"crank": SIXTY.pulses["crank"], "cam": [(0.0, 0.0)]}
    rest = train(dead, steady(1000), 8, start_tick=int(cut) + 48_000)
    result = run(alive.merged(rest), settings_from(BY_EDGE))
    assert result.last.sync == "crank"
    assert result.last.losses == 1
    assert result.last.reason == "no cam edge in its window"


def test_halving_the_interrupt_cost_doubles_the_limit_on_the_fine_track():
    # 180 slits a crank turn at n rpm are 3 n hertz: 40 us carry 25,000 a second, 8,333 rpm
    for cost_us, limit_rpm in ((40, 8333), (20, 16_667)):
        costs = f"interrupts: {{crank_cost_us: {cost_us}, cam_cost_us: 0}}"
        settings = settings_from(DISC.settings, costs)
        below = run(train(DISC.pulses, steady(0.99 * limit_rpm), 30), settings)
        above = run(train(DISC.pulses, steady(1.01 * limit_rpm), 30), settings)
        assert (below.last.sync, below.last.overruns) == ("full", 0)
        assert above.last.overruns > 0
        assert above.last.losses > 0


def test_a_miscount_forgiven_is_a_silent_mis_sync_of_one_tooth():
    # an extra tooth in the middle of an air makes the next period 2.07 times the last
    extra = {**SIXTY.pulses, "crank": sorted([*evenly(60, 3, keep=58), (99.1, 100.5)])}
    signal = train(extra, steady(1000), 20, 90.0)
    strict = run(signal, with_settings(wheel__gap_ratio_low="2.2", sync__errors_allowed="0"))
    lenient = run(signal, with_settings(wheel__gap_ratio_low="2.2", sync__errors_allowed="1"))
    assert strict.last.sync == "none"
    assert strict.last.reason == "no gap after tooth 58"
    assert (lenient.last.sync, lenient.last.losses) == ("full", 0)
    speeds = [report.rpm for report in lenient.reports if report.sync == "full"]
    assert speeds == pytest.approx([1000] * len(speeds), rel=0.15)
    assert spark_angles(lenient, "coil_1", 1000, 90.0)[-1] == pytest.approx(74, abs=0.02)
    assert spark_angles(lenient, "coil_3", 1000, 90.0)[-1] == pytest.approx(254 - 6, abs=0.02)
