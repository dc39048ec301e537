"""For wheels of the library: compile, export, import, learn gives the wheel back.

Up to rotation, scale and what few teeth hide under ripple: then the learner is not to be sure.
"""

from fractions import Fraction

import numpy as np
import pytest
import yaml

from captures import (
    MOTIONS,
    capture_of,
    off_deg,
    pattern,
    save_vcd,
    spoilt,
    table,
)
from edgewheel.edges.captures.read import read_capture
from edgewheel.learn.benchfile import bench_text
from edgewheel.learn.learn import Learned, learn
from edgewheel.learn.ripple import FEW
from edgewheel.wheel.library import names
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import parse
from library_wheels import library_wheel

SAMPLE = (
    "60-minus-2-half-moon-cam",
    "36-minus-2-2-cams",
    "12-wide-tooth",
    "24-width-coded",
    "36-3-gaps-of-2",
    "6-plus-1",
    "4-even-cam",
    "12-plus-1",
)


def best_off(wheel: Wheel, learned: Learned) -> float:
    """Degrees between the wheel and the nearest explanation."""
    offs = [off_deg(wheel, one.wheel) for one in learned.explanations]
    return min((off for off in offs if off is not None), default=np.inf)


def check(name: str, motion: str, learned: Learned, tolerance_deg: float) -> None:
    wheel = library_wheel(name)
    off = best_off(wheel, learned)
    few = learned.best.pattern.teeth <= 2 * FEW
    if few and motion != "steady":
        assert off < tolerance_deg or not learned.sure
    else:
        assert off < tolerance_deg, (name, motion, learned.doubts)
    if learned.best.scale.known:
        assert learned.best.scale.repeat_deg == pytest.approx(pattern(wheel)[1])
    assert not learned.best.deviations


@pytest.mark.parametrize("motion", MOTIONS)
@pytest.mark.parametrize("name", SAMPLE)
def test_a_wheel_comes_back_through_vcd(name, motion, tmp_path):
    path = save_vcd(tmp_path / "a.vcd", *table(name, motion))
    check(name, motion, learn(read_capture(path)), 0.5)


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(set(names()) - set(SAMPLE)))
def test_every_other_wheel_comes_back_through_vcd_from_every_motion(name, tmp_path):
    for motion in MOTIONS:
        path = save_vcd(tmp_path / "a.vcd", *table(name, motion))
        check(name, motion, learn(read_capture(path)), 0.5)


def noisy(name: str, motion: str) -> tuple[bool, bool]:
    """Whether a spoilt capture gives the wheel back, and whether it claims to be sure."""
    header, edges = table(name, motion)
    learned = learn(capture_of(header, spoilt(header, edges, seed=3)))
    tolerance = 3.0 if learned.best.pattern.teeth <= FEW else 0.5
    return best_off(library_wheel(name), learned) < tolerance, learned.sure


@pytest.mark.parametrize("name", SAMPLE)
def test_jitter_and_dropped_teeth_do_not_hide_a_wheel(name):
    """Every edge jitters by 1 % of a tooth period, 1 pulse in 200 is gone."""
    right, _ = noisy(name, "up")
    assert right


@pytest.mark.slow
@pytest.mark.parametrize("motion", MOTIONS)
def test_nine_wheels_in_ten_come_back_spoilt_and_no_other_is_called_sure(motion):
    outcomes = {name: noisy(name, motion) for name in names()}
    assert [name for name, (right, sure) in outcomes.items() if sure and not right] == []
    assert sum(right for right, _ in outcomes.values()) >= 0.9 * len(outcomes)


def test_ripple_is_told_apart_from_the_wheel():
    learned = learn(capture_of(*table("60-minus-2-half-moon-cam", "cranking")))
    depth, per_turn = learned.best.ripple
    assert depth == pytest.approx(0.15, rel=0.03)
    assert per_turn == 2
    offered = motion_of(learned)
    assert offered["ripple"] == pytest.approx(
        {"depth": 0.15, "per_turn": 2, "slowest_at": 80}, rel=0.03
    )
    assert offered["segments"] == [
        pytest.approx({"ramp": 250, "from": 250, "seconds": 9.6}, rel=0.01)
    ]


def motion_of(learned: Learned) -> dict:
    """The motion of the bench file that is offered."""
    like = parse("{name: Fan}", "bench.yaml")
    return yaml.safe_load(bench_text(learned, like, "60-minus-2-half-moon-cam", in_library=True))[
        "motion"
    ]


def test_the_speed_is_that_of_the_motion():
    learned = learn(capture_of(*table("60-minus-2-half-moon-cam", "up")))
    for seconds, rpm in learned.speed:
        true = float(MOTIONS["up"].at(Fraction(seconds)).rpm)
        assert rpm == pytest.approx(true, rel=0.01)
    (ramp,) = motion_of(learned)["segments"]
    assert ramp == pytest.approx({"ramp": 3000, "from": 600, "seconds": 1.5}, rel=0.01)
