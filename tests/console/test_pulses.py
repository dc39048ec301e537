"""The figures of the captured pulses."""

from dataclasses import replace
from fractions import Fraction

import pytest

from edgewheel.bench.events import Pulsed, Reported
from edgewheel.bench.live.state import LivePhase, LiveState
from edgewheel.bench.loader import load_plan
from edgewheel.console.desk import FIRST
from edgewheel.console.pulses import PulseRow, pulse_rows
from edgewheel.console.watch import Watch
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold

PLAN = load_plan(FIRST)
TDC_1 = float(dict(PLAN.wheel.tdc)[1])
TURNING = LiveState(phase=LivePhase.TURNING, pin_rpm=3000)
CYCLE_S = 0.04


def fired(errors_deg, rpm=3000):
    """Coil 1 over cycles, 12 degrees before TDC or off by the errors, a dwell of 2.5 ms each."""
    watch = Watch(PLAN)
    watch.hear([Reported(0, 0.0, "", {"advance": 12.0})])
    for cycle, error_deg in enumerate(errors_deg):
        at = (720 * (cycle + 1) + TDC_1 - 12 - error_deg) / (6 * rpm)
        watch.hear([Pulsed(0, at - 0.0025, "coil_1", 1), Pulsed(0, at, "coil_1", 0)])
    return watch, at


def rows(watch, now_s, rpm=3000):
    motion = Motion([hold(Fraction(rpm), seconds=Fraction(1000))])
    state = replace(TURNING, seconds=now_s, pin_rpm=float(rpm))
    return pulse_rows(PLAN, watch, motion, state)


def row(*told, **how):
    return {row.name: row for row in rows(*told, **how)}["coil_1"]


def test_angle_error_scatter_dwell_and_count():
    one = row(*fired([1.0, 3.0, 1.0, 3.0]))
    assert (one.kind, one.count) == ("ignition", 4)
    figures = (one.before_deg, one.error_deg, one.scatter_deg, one.lasts_ms)
    assert figures == pytest.approx((14, 2, 1, 2.5))


def test_every_output_that_is_declared_has_its_row():
    shown = rows(*fired([0.0]))
    assert [one.name for one in shown] == list(PLAN.signals.outputs)
    assert {(one.kind, one.count, one.error_deg) for one in shown[1:]} == {("ignition", 0, None)}


def test_pulses_of_long_ago_are_not_now():
    watch, last_s = fired([0.0] * 100)
    assert row(watch, last_s + 1).count == 25
    assert row(watch, last_s + 2.1) == PulseRow("coil_1", "ignition", 0, None, None, None, None)


def test_a_coil_of_a_slow_engine_has_fired_of_late():
    watch, last_s = fired([0.0] * 3, rpm=40)
    assert row(watch, last_s + 2.9, rpm=40).count == 2
