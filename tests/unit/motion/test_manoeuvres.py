"""Run-down, rocking and ramps under gas forces, as segments."""

import math
from fractions import Fraction
from itertools import pairwise

import pytest

from edgewheel.errors import UsageError
from edgewheel.motion.gas import gas_ripple, least_rpm
from edgewheel.motion.manoeuvres import GasRipple, rock, run_down, under_ripple
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from engines import four


def test_dry_friction_takes_as_much_speed_every_second():
    (only,) = run_down(Fraction(900), Fraction(300), Fraction(0))
    assert (only.seconds, only.rpm_begin, only.rpm_end) == (3, 900, 0)


@pytest.mark.parametrize("way", [1, -1])
def test_drag_follows_its_law_to_standstill(way):
    friction, drag, rpm = 250.0, 0.8, 900.0
    motion = Motion(run_down(Fraction(way * 900), Fraction(250), Fraction("0.8")))
    end_s = math.log(1 + drag * rpm / friction) / drag
    assert float(motion.end_s) == pytest.approx(end_s, abs=1e-6)
    for share in (0.1, 0.35, 0.8, 0.99):
        seconds = share * end_s
        law = (rpm + friction / drag) * math.exp(-drag * seconds) - friction / drag
        assert motion.at(Fraction(seconds)).rpm == pytest.approx(way * law, abs=0.2)
    turned = rpm / drag - friction / drag * end_s
    assert float(motion.at(motion.end_s).angle_deg) == pytest.approx(way * 6 * turned, rel=2e-4)


def test_an_engine_at_rest_cannot_run_down():
    with pytest.raises(UsageError, match="at rest"):
        run_down(Fraction(0), Fraction(300), Fraction(0))


def test_rocking_goes_back_by_the_stated_degrees_and_dies_away():
    motion = Motion(rock(Fraction(8), Fraction("0.2"), 3, Fraction(1, 2)), Fraction(100))
    ends = [motion.at(Fraction(n, 5)).angle_deg for n in range(4)]
    assert ends == [100, 92, 96, 94]
    assert all(a.rpm_end == b.rpm_begin for a, b in pairwise(p.segment for p in placed(motion)))
    assert motion.at(Fraction("0.1")).rpm == pytest.approx(-2 * 8 / 0.2 / 6)


def test_a_fixed_ripple_stays_through_a_ramp():
    ripple = CompressionRipple(Fraction(1, 4), Fraction(2))
    assert [one.ripple for one in under_ripple(ramp_up(), ripple)] == [ripple]
    assert [one.ripple for one in under_ripple(ramp_up(), None)] == [None]
    fixed = GasRipple(four(), Fraction(300))
    assert [one.ripple for one in under_ripple(ramp_up(), fixed)] == [
        gas_ripple(four(), Fraction(300))
    ]


def test_a_ramp_under_gas_forces_changes_its_ripple_with_its_speed():
    pieces = under_ripple(ramp_up(), GasRipple(four()))
    assert sum(one.seconds for one in pieces) == 2
    assert (pieces[0].rpm_begin, pieces[-1].rpm_end) == (0, 3000)
    assert all(a.rpm_end == b.rpm_begin for a, b in pairwise(pieces))
    assert all(b.rpm_end <= b.rpm_begin * Fraction(9, 8) + 1 for b in pieces[1:])
    slowest = [one.ripple.slowest_ratio for one in pieces]
    assert slowest == sorted(slowest)
    assert slowest[0] == pytest.approx(0.25, abs=0.02)
    assert slowest[-1] > 0.99


def test_the_way_down_and_the_way_back_have_the_same_ripples():
    up = under_ripple(ramp_up(), GasRipple(four()))
    down = under_ripple(ramp(Fraction(3000), Fraction(0), seconds=Fraction(2)), GasRipple(four()))
    back = under_ripple(ramp(Fraction(0), Fraction(-3000), seconds=Fraction(2)), GasRipple(four()))
    assert [one.ripple for one in down] == [one.ripple for one in reversed(up)]
    assert [(one.ripple, -one.rpm_end) for one in back] == [(one.ripple, one.rpm_end) for one in up]


def test_a_hold_below_the_speed_that_carries_the_engine_is_refused():
    slow = Fraction(math.floor(least_rpm(four())))
    with pytest.raises(UsageError, match="stop within a cycle"):
        under_ripple(hold(slow, turns=Fraction(1)), GasRipple(four()))
    (rest,) = under_ripple(hold(Fraction(0), seconds=Fraction(1)), GasRipple(four()))
    assert rest.ripple is None


def ramp_up():
    return ramp(Fraction(0), Fraction(3000), seconds=Fraction(2))


def placed(motion):
    return [motion[index] for index in range(len(motion))]
