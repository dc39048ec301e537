"""When a fault is there: stretches of time, turns and speed, to the tick."""

from fractions import Fraction

import numpy as np
import pytest

from edgewheel.fault.draw import key_of, normal, uniform
from edgewheel.fault.window import EVER, Spans, Window
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from signals import Signal, turns

HZ = 1_000_000
UP_AND_DOWN = Motion(
    [
        ramp(Fraction(0), Fraction(1000), seconds=Fraction(1)),
        hold(Fraction(1000), seconds=Fraction(1)),
        ramp(Fraction(1000), Fraction(0), seconds=Fraction(1)),
    ]
)


def stretches(motion: Motion, **window) -> list[tuple[int, int]]:
    exact = {key: Fraction(value) for key, value in window.items()}
    begins, ends = Spans(Window(**exact), motion, HZ).stretches()
    pairs = zip(begins.tolist(), ends.tolist(), strict=True)
    return [(begin, end) for begin, end in pairs if begin < end]


def test_a_stretch_of_time():
    assert stretches(UP_AND_DOWN, from_s="0.5", to_s="1.25") == [(500_000, 1_250_000)]
    assert stretches(UP_AND_DOWN, from_s="2.5") == [(2_500_000, EVER)]
    assert stretches(UP_AND_DOWN, to_s="2.5") == [(-EVER, 2_500_000)]
    assert stretches(UP_AND_DOWN, from_s="9") == []


def test_a_range_of_speed_may_open_twice():
    assert stretches(UP_AND_DOWN, from_rpm="200", to_rpm="700") == [
        (200_000, 700_000), (2_300_000, 2_800_000)
    ]  # fmt: skip
    assert stretches(UP_AND_DOWN, from_rpm="400") == [(400_000, 2_600_000)]


def test_turns_on_a_ramp_are_where_the_turn_is_made():
    """At 1000 rpm/s a turn is made after sqrt(2 x 60 / 1000) s, n after sqrt(n) times that."""
    first = (2 * 60 / 1000) ** 0.5
    ((begin, end),) = stretches(UP_AND_DOWN, from_turn="1", to_turn="4")
    assert (begin, end) == (round(first * HZ), round(2 * first * HZ))


def test_turns_are_counted_either_way():
    motion = Motion(
        [hold(Fraction(600), turns=Fraction(3)), hold(Fraction(-600), turns=Fraction(3))]
    )
    assert stretches(motion, from_turn="2", to_turn="4") == [(200_000, 400_000)]


def test_turns_are_those_of_the_crank_whatever_ripples_follow_one_another():
    ripple = CompressionRipple(Fraction(1, 3), Fraction(2))
    rounds = [hold(Fraction(300), turns=Fraction(41, 8), ripple=ripple),
              hold(Fraction(300), turns=Fraction(39, 8))]  # fmt: skip
    motion = Motion([*rounds * 20, hold(Fraction(-300), turns=Fraction(5), ripple=ripple)])
    ((begin, end),) = stretches(motion, from_turn="190", to_turn="203")
    until = motion.at(Fraction(end, HZ)).angle_deg
    assert float(motion.at(Fraction(begin, HZ)).angle_deg) == pytest.approx(190 * 360, abs=0.01)
    turned_back = motion.at(motion[40].begin_s).angle_deg
    assert float(2 * turned_back - until) == pytest.approx(203 * 360, abs=0.01)


def test_all_conditions_must_hold():
    assert stretches(UP_AND_DOWN, from_s="0.5", to_s="2.5", from_rpm="700") == [
        (700_000, 2_300_000)
    ]
    assert stretches(UP_AND_DOWN, to_s="0.5", from_rpm="700") == []


@pytest.mark.parametrize("rpm", ["1000", "333.3", "4711"])
def test_an_edge_on_the_border_of_a_turn_is_on_its_right_side(rpm):
    ripple = CompressionRipple(Fraction(1, 4), Fraction(2))
    for motion in (
        turns(9, Fraction(rpm)),
        Motion([ramp(Fraction(0), Fraction(rpm), turns=Fraction(9))]),
        Motion([hold(Fraction(rpm), turns=Fraction(9), ripple=ripple)]),
    ):
        for turn in range(1, 8):
            words = f"from_turn: {turn}, to_turn: {turn + 1}"
            signal = Signal(f"{{a: {{kind: dropped_tooth, track: crank, {words}}}}}",
                            motion=motion, tick_hz=125_000_000)  # fmt: skip
            assert len(signal.changes) == 8
            assert len(signal.on("crank")) == 64


def test_a_motion_that_grows_grows_its_stretches():
    motion = Motion([hold(Fraction(500), seconds=Fraction(1))])
    spans = Spans(Window(from_rpm=Fraction(800)), motion, HZ)
    assert not spans.inside(np.array([500_000])).any()
    motion.append(hold(Fraction(900), seconds=Fraction(1)))
    assert spans.inside(np.array([500_000, 1_500_000])).tolist() == [False, True]


def test_draws_are_the_published_generator_s():
    """SplitMix64 from seed 1234567, the first five outputs as its reference code gives them.

    Values from memory of the widely reprinted test vector.
    """
    expected = [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]
    drawn = uniform(1234567, np.arange(5))
    assert drawn.tolist() == [(word >> 11) / 2**53 for word in expected]


def test_draws_are_even_and_normal():
    counters = np.arange(-50_000, 50_000)
    even, bell = uniform(key_of(1, "a"), counters), normal(key_of(1, "b"), counters)
    counts = np.histogram(even, 20, (0, 1))[0]
    assert abs(counts - 5000).max() < 5 * 5000**0.5
    assert abs(bell.mean()) < 0.02 and abs(bell.std() - 1) < 0.01


def test_chance_is_a_share_of_the_teeth():
    signal = Signal("{a: {kind: dropped_tooth, track: crank, chance: 0.25}}", motion=turns(2000))
    assert abs(len(signal.changes) / 2 / 8000 - 0.25) < 0.02


def test_every_counts_passages_of_the_chosen_teeth():
    signal = Signal("{a: {kind: dropped_tooth, track: crank, teeth: [1, 3], every: 3}}",
                    motion=turns(4))  # fmt: skip
    assert [tick for _, tick, _ in signal.changes][::2] == [60_000, 150_000]
