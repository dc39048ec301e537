"""The crank and cam inputs of the frost-fan controller."""

import pytest


def test_it_starts(bench):
    bench.run()


def test_sync_holds_at_every_speed(bench):
    bench.sweep()


def test_the_worst_sensor_in_stock_is_endured(bench):
    limit = bench.threshold("faults.sensor.delay_us", 10, 90, speed=4000, within=0.1)
    assert limit.low >= 40


def test_the_release_holds(bench):
    bench.qualify("../bench/release.yaml")


@pytest.mark.edgewheel(set={"faults.sensor.delay_us": 300})
def test_a_sensor_beyond_repair_is_noticed(bench):
    assert bench.run(check=False).losses


@pytest.mark.edgewheel_board
def test_a_whole_night(bench):
    bench.set("motion.segments[3].turns", 900_000).run()
