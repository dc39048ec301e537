"""With good settings every wheel of the library's first eight is read right, at any speed."""

import pytest

from sim_trains import TICK_HZ, WHEELS, rippled, run, settings_from, spark_angles, steady, train


@pytest.mark.parametrize("rpm", [20, 250, 3000, 6000])
@pytest.mark.parametrize("name", WHEELS)
def test_syncs_and_reports_the_true_speed(name, rpm):
    wheel = WHEELS[name]
    result = run(train(wheel.pulses, steady(rpm), turns=10), settings_from(wheel.settings))
    assert result.last.sync == wheel.sync
    assert result.last.losses == 0
    assert result.last.rpm == pytest.approx(rpm, rel=1e-3)


@pytest.mark.parametrize("rpm", [250, 3000, 6000])
@pytest.mark.parametrize("name", WHEELS)
def test_fires_every_cylinder_at_its_angle(name, rpm):
    wheel = WHEELS[name]
    signal = train(wheel.pulses, steady(rpm), turns=40, from_deg=123.0)
    result = run(signal, settings_from(wheel.settings))
    for output, sparks in wheel.sparks.items():
        angles = spark_angles(result, output, rpm, from_deg=123.0)[-2 * len(sparks) :]
        assert sorted(angles) == pytest.approx(sorted(2 * sparks), abs=0.02), output


@pytest.mark.parametrize("name", WHEELS)
def test_cranks_through_compressions_without_losing_sync(name):
    wheel = WHEELS[name]
    signal = train(wheel.pulses, rippled(220, depth=0.3, a_turn=2), turns=14, from_deg=123.0)
    result = run(signal, settings_from(wheel.settings))
    assert (result.last.sync, result.last.losses) == (wheel.sync, 0)


@pytest.mark.parametrize("name", WHEELS)
def test_the_answer_does_not_depend_on_how_the_stream_is_cut(name):
    wheel = WHEELS[name]
    signal = train(wheel.pulses, steady(1500), turns=9, from_deg=200.0)
    settings = settings_from(wheel.settings)
    whole = run(signal, settings, rest_s=1.0, cut_ticks=1 << 40)
    for cut_ticks in (TICK_HZ // 10, TICK_HZ // 977):
        assert run(signal, settings, rest_s=1.0, cut_ticks=cut_ticks) == whole
