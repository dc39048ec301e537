"""What every ripple promises: one mean speed, and maps of angle and mean angle that undo each
other.
"""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.errors import UsageError
from edgewheel.motion.gas import gas_ripple, least_rpm
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.series import SeriesRipple, fitted
from engines import four

WEAK = four(losses=((3, Fraction("0.4")),))
RIPPLES = {
    "depth": CompressionRipple(Fraction("0.4"), Fraction(2), Fraction(84)),
    "series": SeriesRipple(Fraction(240), (0.3, 0.0, -0.1), (-0.2, 0.05, 0.0)),
    "gas": gas_ripple(four(), Fraction(200)),
    "slow": gas_ripple(four(), Fraction(109)),
    "weak": gas_ripple(WEAK, Fraction(180)),
}
ANGLES = st.fractions(-(10**6), 10**6, max_denominator=10**6)
each = pytest.mark.parametrize("ripple", RIPPLES.values(), ids=RIPPLES)


@each
@given(angle=ANGLES)
def test_lag_undoes_lead(ripple, angle):
    mean = angle + Fraction(ripple.lead_deg(angle))
    assert float(mean - Fraction(ripple.lag_deg(mean)) - angle) == pytest.approx(0, abs=1e-12)


@each
@given(angle=ANGLES)
def test_a_ripple_repeats(ripple, angle):
    later = angle + 7 * ripple.period_deg
    assert ripple.lead_deg(later) == pytest.approx(ripple.lead_deg(angle), abs=1e-12)


@each
@given(angle=ANGLES)
def test_speed_is_the_slope_of_angle_over_mean_angle(ripple, angle):
    step = Fraction(1, 1000)
    leads = [ripple.lead_deg(angle + way * step) for way in (-1, 1)]
    slope = 1 + (leads[1] - leads[0]) / float(2 * step)
    assert ripple.speed_ratio(angle) == pytest.approx(1 / slope, rel=1e-6)


@each
def test_the_slowest_ratio_is_the_least_of_all(ripple):
    width = ripple.period_deg / 3000
    ratios = [ripple.speed_ratio(n * width) for n in range(3000)]
    assert ripple.slowest_ratio == pytest.approx(min(ratios), rel=2e-3)
    assert min(ratios) > 0


@each
def test_the_mean_over_a_period_is_the_mean_speed(ripple):
    """Over time, so the mean of 1 / speed over angle is 1; even samples integrate it exactly."""
    width = ripple.period_deg / 4096
    slowness = [1 / ripple.speed_ratio(n * width) for n in range(4096)]
    assert np.mean(slowness) == pytest.approx(1, abs=1e-12)


def test_an_engine_is_slowest_as_it_reaches_tdc_and_a_weak_cylinder_slows_it_less():
    sound, weak = RIPPLES["gas"], RIPPLES["weak"]
    angles = [Fraction(n) for n in range(720)]
    assert min(angles, key=sound.speed_ratio) % 180 == 84
    dips = {tdc: weak.speed_ratio(Fraction(tdc)) for tdc in (84, 264, 444, 624)}
    assert max(dips, key=dips.get) == 264
    assert dips[264] > 1.02 * dips[84]


def test_ripple_fades_with_the_square_of_speed_and_with_inertia():
    def depth(inertia: str, rpm: int) -> float:
        return 1 - gas_ripple(four(inertia), Fraction(rpm)).slowest_ratio

    assert depth("0.6", 2000) == pytest.approx(4 * depth("0.6", 4000), rel=0.01)
    assert depth("0.6", 4000) == pytest.approx(2 * depth("1.2", 4000), rel=0.01)


def test_an_inertia_that_lets_the_engine_stop_is_refused_with_one_that_does_not():
    with pytest.raises(UsageError) as caught:
        gas_ripple(four("0.05"), Fraction(200))
    assert "stop within a cycle" in str(caught.value)
    enough, faster = str(caught.value).split("at least ")[1].split(" kg m2, flywheel")[0], 377
    assert gas_ripple(four(enough), Fraction(200)).slowest_ratio == pytest.approx(0.25, abs=0.01)
    assert f"{faster} rpm" in str(caught.value)
    assert least_rpm(four("0.05")) == pytest.approx(faster, abs=1)


def test_samples_too_few_for_a_shape_are_told():
    jagged = [1.0 + (n == 5) for n in range(32)]
    assert fitted(Fraction(360), jagged, 1e-9) is None


def test_fitted_samples_come_back():
    shape = SeriesRipple(Fraction(360), (0.2, 0.1), (0.3, -0.1))
    samples = [5 / shape.speed_ratio(Fraction(360 * n, 64)) for n in range(64)]
    found = fitted(Fraction(360), samples, 1e-12)
    assert found.cosines == pytest.approx(shape.cosines, abs=1e-12)
    assert found.sines == pytest.approx(shape.sines, abs=1e-12)
