"""The quick floats of the truth against the exact motion."""

from fractions import Fraction

import pytest

from edgewheel.bench.truth import Truth, signed_deg
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp

MOTION = Motion(
    [
        ramp(Fraction(0), Fraction(700), seconds=Fraction(2)),
        hold(Fraction(700), seconds=Fraction(3600)),
        ramp(
            Fraction(700),
            Fraction(0),
            seconds=Fraction(1),
            ripple=CompressionRipple(Fraction("0.3"), Fraction(2)),
        ),
    ],
    start_deg=Fraction(100),
)


@pytest.mark.parametrize("seconds", [0.0, 1.3, 2.0, 1800.123, 3601.9, 3602.5, 3603.0])
def test_the_angle_is_that_of_the_motion_to_a_millionth_of_a_degree(seconds):
    exact = MOTION.at(Fraction(seconds)).angle_deg % 720
    assert signed_deg(Truth(MOTION).angle_deg(seconds) - float(exact)) == pytest.approx(0, abs=1e-6)


def test_the_speed_is_the_mean_speed_and_zero_outside():
    truth = Truth(MOTION)
    assert truth.rpm(1.0) == pytest.approx(350)
    assert truth.rpm(3602.5) == pytest.approx(350)
    assert truth.rpm(-0.1) == truth.rpm(3604) == 0


def test_it_follows_a_motion_that_grows():
    motion = Motion([hold(Fraction(60), seconds=Fraction(1))])
    truth = Truth(motion)
    assert truth.rpm(1.5) == 0
    motion.append(hold(Fraction(90), seconds=Fraction(1)))
    assert truth.rpm(1.5) == 90


@pytest.mark.parametrize(
    ("degrees", "signed"), [(0, 0), (359, 359), (361, -359), (-1, -1), (719, -1)]
)
def test_angles_come_back_to_the_nearest_turn(degrees, signed):
    assert signed_deg(degrees) == signed
