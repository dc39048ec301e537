"""The clock fit: known clocks, planted trips, and what the fit makes of them."""

import random

import pytest

from edgewheel.bench.timeline import Timeline

HZ = 16_000_000
MS = 1_000_000


def trips(timeline, seconds, drift_ppm=0.0, jitter_ns=3 * MS, offset_ns=0, begin_s=0.0, seed=1):
    """Five round trips a second with uneven ways there and back; the true ns of a tick."""
    dice = random.Random(seed)

    def true_ns(tick):
        return offset_ns + tick * 1e9 / HZ / (1 + drift_ppm * 1e-6)

    for k in range(int(seconds * 5)):
        tick = round((begin_s + k / 5) * HZ)
        there, back = (200_000 + dice.expovariate(1 / jitter_ns) for _ in range(2))
        timeline.round_trip(round(true_ns(tick) - there), tick, round(true_ns(tick) + back))
    return true_ns


@pytest.mark.parametrize("drift_ppm", [0.0, 40.0, -100.0])
def test_drift_and_moments_are_found_within_the_stated_uncertainty(drift_ppm):
    timeline = Timeline(HZ)
    true_ns = trips(timeline, 60, drift_ppm, offset_ns=10**15)
    fit = timeline.fit
    assert fit.drift_ppm == pytest.approx(drift_ppm, abs=5)
    assert fit.uncertainty_ns < 1 * MS
    for seconds in (1, 30, 59):
        tick = seconds * HZ
        assert timeline.ns(tick) == pytest.approx(true_ns(tick), abs=fit.uncertainty_ns)
        assert timeline.tick(round(true_ns(tick))) == pytest.approx(
            tick, abs=timeline.uncertainty_ticks()
        )


def test_one_trip_gives_a_moment_but_no_drift():
    timeline = Timeline(HZ)
    assert timeline.tick(5 * MS) == 0
    timeline.round_trip(10 * MS, HZ, 12 * MS)
    assert timeline.ns(HZ) == 11 * MS
    assert timeline.tick(1011 * MS) == 2 * HZ
    assert (timeline.fit.drift_ppm, timeline.fit.uncertainty_ns) == (0.0, 1 * MS)


def test_a_clock_that_jumps_is_counted_and_followed():
    timeline = Timeline(HZ)
    trips(timeline, 10)
    true_ns = trips(timeline, 10, offset_ns=50 * MS, begin_s=10)
    assert timeline.fit.jumps == 1
    assert timeline.ns(15 * HZ) == pytest.approx(true_ns(15 * HZ), abs=timeline.fit.uncertainty_ns)


def test_a_long_time_without_trips_is_no_jump():
    timeline = Timeline(HZ)
    trips(timeline, 2, drift_ppm=60)
    true_ns = trips(timeline, 60, drift_ppm=60, begin_s=1200)
    assert timeline.fit.jumps == 0
    assert timeline.fit.drift_ppm == pytest.approx(60, abs=5)
    assert timeline.ns(1215 * HZ) == pytest.approx(
        true_ns(1215 * HZ), abs=timeline.fit.uncertainty_ns
    )


def test_a_long_trip_is_no_jump():
    timeline = Timeline(HZ)
    trips(timeline, 10)
    timeline.round_trip(10_000 * MS, 10 * HZ + HZ // 10, 10_400 * MS)
    assert timeline.fit.jumps == 0
    assert timeline.fit.uncertainty_ns < 2 * MS
