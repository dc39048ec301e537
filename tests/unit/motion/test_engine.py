"""The engine's geometry and gas: positions, volumes, work and torque."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.errors import UsageError
from edgewheel.motion.engine import Cylinder, Engine
from engines import CYLINDER, four

DEGREES = st.floats(-2000, 2000)


def test_the_piston_stands_highest_at_tdc_and_a_stroke_lower_at_bdc():
    assert CYLINDER.piston_mm(0) == pytest.approx(143 + 43)
    assert CYLINDER.piston_mm(180) == pytest.approx(143 - 43)


def test_volumes_at_tdc_and_bdc_are_a_compression_ratio_apart():
    swept = math.pi / 4 * 0.086**2 * 0.086
    assert CYLINDER.volume_m3(0) == pytest.approx(swept / 9)
    assert CYLINDER.volume_m3(180) == pytest.approx(swept * 10 / 9)


@given(DEGREES)
def test_torque_is_the_slope_of_work(degrees):
    engine = four(losses=((3, Fraction("0.4")),))
    step = 1e-3
    slope = (engine.work_j(degrees + step) - engine.work_j(degrees - step)) / (2 * step)
    assert engine.torque_nm(degrees) == pytest.approx(math.degrees(slope), rel=1e-4, abs=1e-3)


@given(DEGREES)
def test_a_cycle_gives_back_what_it_took(degrees):
    engine = four()
    assert engine.work_j(degrees + 720) == pytest.approx(engine.work_j(degrees), abs=1e-9)


@given(DEGREES)
def test_like_cylinders_repeat_at_every_firing_interval(degrees):
    engine = four()
    assert engine.ripple_deg == 180
    assert engine.work_j(degrees + 180) == pytest.approx(engine.work_j(degrees), abs=1e-9)


def test_a_weak_cylinder_or_uneven_firing_repeats_once_a_cycle():
    assert four(losses=((1, Fraction(1, 2)),)).ripple_deg == 720
    twin = Engine(CYLINDER, ((1, Fraction(0)), (2, Fraction(270))), Fraction(1))
    assert twin.ripple_deg == 720
    two_stroke = Engine(CYLINDER, ((1, Fraction(0)), (2, Fraction(180))), Fraction(1), strokes=2)
    assert two_stroke.ripple_deg == 180


def test_a_weak_cylinder_gives_less_work_at_its_own_tdc_only():
    sound, weak = four(), four(losses=((3, Fraction("0.4")),))
    assert weak.work_j(84) == pytest.approx(sound.work_j(84))
    single = Engine(CYLINDER, ((1, Fraction(84)),), Fraction(1))
    gained = weak.work_j(264) - sound.work_j(264)
    assert gained == pytest.approx(-0.4 * single.work_j(84))


def test_a_rod_no_longer_than_the_throw_is_refused():
    with pytest.raises(UsageError, match="no longer than the crank's throw of 43 mm"):
        Cylinder(Fraction(86), Fraction(86), Fraction(43), Fraction(10))


def test_an_engine_that_compresses_nowhere_is_refused():
    with pytest.raises(UsageError, match="No cylinder compresses"):
        Engine(CYLINDER, ((1, Fraction(0)),), Fraction(1), losses=((1, Fraction(1)),))
