"""Period ratios under a motion, and the margin between the gap's and the others."""

import math
from fractions import Fraction
from itertools import pairwise

import pytest

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import wheel_levels
from edgewheel.edges.motion_ratios import motion_ratios
from edgewheel.edges.table import join
from edgewheel.errors import UsageError
from edgewheel.motion.cam import CamTiming, moved
from edgewheel.motion.gas import gas_ripple
from edgewheel.motion.manoeuvres import rock
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import find
from edgewheel.wheel.model import Amplitude, Sensor, Tooth, Track, Wheel
from engines import four

STEADY = Motion([hold(Fraction(900), turns=Fraction(3))])
CRANKING = Motion(
    [
        ramp(Fraction(0), Fraction(200), seconds=Fraction(1, 3)),
        hold(Fraction(200), turns=Fraction(6), ripple=gas_ripple(four(), Fraction(200))),
    ]
)


def test_at_steady_speed_the_ratios_are_the_wheels_own():
    found = motion_ratios(find("60-minus-2-half-moon-cam"), STEADY)
    assert [one.kind for one in found.ranges] == ["ordinary", "gap", "after a gap"]
    for kind, ratio in (("ordinary", 1), ("gap", 3), ("after a gap", 1 / 3)):
        span = found.of(kind)
        assert span.least.ratio == pytest.approx(ratio, abs=1e-5)
        assert span.greatest.ratio == pytest.approx(ratio, abs=1e-5)
    assert found.margin == pytest.approx(3, abs=1e-4)
    assert found.best_limit == pytest.approx(math.sqrt(3), abs=1e-4)
    assert found.edges_lost == 0


RUNNING_UP = Motion([ramp(Fraction(300), Fraction(3000), seconds=Fraction(1))])


@pytest.mark.parametrize(
    "motion", [STEADY, CRANKING, RUNNING_UP], ids=["steady", "cranking", "running up"]
)
@pytest.mark.parametrize("wheel", ["36-minus-1", "60-minus-2-half-moon-cam"])
def test_worst_ratios_are_those_of_the_compiled_edges(wheel, motion):
    """Brute force: every three rises in a row of the table that a controller would be sent."""
    rises = rising_ticks(wheel, motion)
    periods = [later - earlier for earlier, later in pairwise(rises)]
    ratios = [later / earlier for earlier, later in pairwise(periods)]
    teeth = 35 if wheel.startswith("36") else 58
    across = [ratio for n, ratio in enumerate(ratios, 2) if n % teeth == 0]
    others = [ratio for n, ratio in enumerate(ratios, 2) if n % teeth]
    found = motion_ratios(find(wheel), motion)
    assert found.edge == "rise"
    assert sum(one.count for one in found.ranges) == len(ratios)
    assert found.of("gap").least.ratio == pytest.approx(min(across), abs=1e-6)
    assert found.greatest_other.ratio == pytest.approx(max(others), abs=1e-6)
    assert found.margin == pytest.approx(min(across) / max(others), rel=1e-6)


def rising_ticks(wheel: str, motion: Motion) -> list[int]:
    table = join(*EdgeCompiler(wheel_levels(find(wheel)), motion, 10**9).chunks())
    return table.ticks[(table.track == 0) & (table.level == 1)].tolist()


def test_ripple_and_acceleration_eat_the_margin():
    steady = motion_ratios(find("36-minus-1"), STEADY)
    cranked = motion_ratios(find("36-minus-1"), CRANKING)
    assert cranked.margin < 0.9 * steady.margin
    worst = cranked.of("ordinary").greatest
    assert 1 <= worst.tooth <= 35
    assert 0 < worst.seconds < float(CRANKING.end_s)


def test_a_gap_that_no_limit_tells_has_a_margin_below_one():
    teeth = tuple(Tooth(Fraction(90 * n), Fraction(90 * n + 20)) for n in range(3))
    wheel = Wheel("4-1", "", 360, (Track("crank", "crank", Sensor(), teeth),))
    jerky = Motion(
        [
            hold(Fraction(900), turns=Fraction(2)),
            ramp(Fraction(900), Fraction(60), seconds=Fraction("0.05")),
            hold(Fraction(60), turns=Fraction(2)),
            ramp(Fraction(60), Fraction(3000), seconds=Fraction("0.5")),
        ]
    )
    found = motion_ratios(wheel, jerky)
    assert found.margin < 1
    assert found.best_limit is None


def test_a_standstill_and_a_turn_back_begin_anew():
    pause = Motion(
        [
            hold(Fraction(600), turns=Fraction(2)),
            hold(Fraction(0), seconds=Fraction(9)),
            *rock(Fraction(20), Fraction(1), 2, Fraction(1)),
            hold(Fraction(600), turns=Fraction(2)),
        ]
    )
    found = motion_ratios(find("36-minus-1"), pause)
    assert found.of("ordinary").greatest.ratio < 3


def test_an_even_wheel_has_no_gap_and_no_margin():
    found = motion_ratios(find("4-even-cam"), STEADY)
    assert found.of("gap") is None
    assert found.margin is None
    assert found.best_limit is None


def test_a_cam_with_a_gap_is_taken_as_it_is_timed():
    teeth = tuple(Tooth(Fraction(30 * n), Fraction(30 * n + 10)) for n in range(11))
    wheel = Wheel("12-1 cam", "", 720, (Track("cam", "cam", Sensor(), teeth),))
    retarding = CamTiming(moved(Fraction(0), [(Fraction(1, 10), Fraction(-40))], Fraction(200)))
    steady = motion_ratios(wheel, STEADY)
    moving = motion_ratios(wheel, Motion([STEADY[0].segment], cams={"cam": retarding}))
    assert steady.of("ordinary").greatest.ratio == pytest.approx(1)
    slower = moving.of("ordinary").greatest
    assert slower.ratio == pytest.approx(5400 / 5200, abs=1e-5)
    assert 0.1 < slower.seconds < 0.13


def test_teeth_too_weak_to_be_seen_are_counted():
    sensor = Sensor("vr", amplitude=Amplitude(Fraction(1), Fraction(150)))
    teeth = tuple(Tooth(Fraction(10 * n), Fraction(10 * n + 5)) for n in range(35))
    wheel = Wheel("36-1", "", 360, (Track("crank", "crank", sensor, teeth),))
    motion = Motion(
        [hold(Fraction(100), turns=Fraction(2)), hold(Fraction(200), turns=Fraction(3))]
    )
    found = motion_ratios(wheel, motion)
    assert found.edges == 5 * 70
    assert 2 * 70 - 2 <= found.edges_lost <= 2 * 70 + 2


def test_a_motion_too_short_for_a_ratio_is_refused():
    with pytest.raises(UsageError, match="three edges in a row"):
        motion_ratios(find("36-minus-1"), Motion([hold(Fraction(60), turns=Fraction(1, 40))]))
