"""Faults of time move exactly the edges that they say: jitter, late teeth, a wandering cam.

Four even teeth at 1000 rpm and a clock of a megahertz: tooth n of turn t rises at
60,000 (t - 1) + 15,000 (n - 1) and falls 7,500 ticks later; a degree is 166 2/3 ticks.
"""

from fractions import Fraction

import pytest

from edgewheel.motion.cam import CamTiming, Wander
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from signals import Signal, faulty, gone_and_new, sound, turns


def test_jitter_stays_within_its_bounds_and_moves_every_edge_by_its_own_draw():
    one, other = sound().on("crank"), faulty("kind: jitter, track: crank, us: 50", motion=turns(2))
    moves = [b - a for (a, _), (b, _) in zip(one, other.on("crank"), strict=True)]
    assert all(-50 <= move <= 50 for move in moves)
    assert len(set(moves)) > 10
    assert other.on("cam") == sound().on("cam")
    assert [change[0] for change in other.changes] == ["moved"] * sum(map(bool, moves))


def test_jitter_in_degrees_is_jitter_in_time_at_the_speed_of_the_moment():
    slow, fast = (
        faulty("kind: jitter, track: crank, deg: 3", motion=turns(4, rpm)) for rpm in (500, 2000)
    )
    for one, other in zip(slow.on("crank")[1:], fast.on("crank")[1:], strict=True):
        assert abs(one[0] - 4 * other[0]) <= 4


def test_jitter_never_swaps_edges():
    signal = faulty("kind: jitter, track: crank, us: 100000, shape: normal", motion=turns(20))
    levels = [level for _, level in signal.on("crank")]
    assert levels == [1, 0] * 80
    assert signal.on("crank")[0][0] >= 0


def test_another_seed_or_another_name_gives_other_draws():
    words = "{kind: jitter, track: crank, us: 50}"
    signals = [
        Signal(f"{{a: {words}}}"),
        Signal(f"{{a: {words}}}", seed=1),
        Signal(f"{{b: {words}}}"),
    ]
    assert len({tuple(signal.rows) for signal in signals}) == 3
    assert Signal(f"{{a: {words}}}").rows == signals[0].rows


def test_a_late_tooth_keeps_its_width():
    gone, new = gone_and_new("kind: late_tooth, track: crank, teeth: [2], deg: 3, to_turn: 1")
    assert gone == [(15_000, "crank", 1), (22_500, "crank", 0)]
    assert new == [(15_500, "crank", 1), (23_000, "crank", 0)]


def test_one_late_edge_stops_before_the_next():
    words = "kind: late_tooth, track: crank, teeth: [2], us: 90000, edges: rise, to_turn: 1"
    assert gone_and_new(words)[1] == [(22_499, "crank", 1)]


@pytest.mark.parametrize("ripple", [None, CompressionRipple(Fraction(1, 3), Fraction(2))])
def test_a_late_tooth_is_where_the_crank_is_three_degrees_on(ripple):
    motion = Motion([ramp(Fraction(300), Fraction(3000), turns=Fraction(3), ripple=ripple)])
    late = faulty("kind: late_tooth, track: crank, teeth: [2], deg: 3", motion=motion)
    bent = faulty("kind: bent_tooth, track: crank, teeth: [2], by_deg: 3", motion=motion)
    rises = [(a, b) for a, b in zip(late.on("crank"), bent.on("crank"), strict=True) if a[1] == 1]
    assert all(abs(a[0] - b[0]) <= 1 for a, b in rises)


def test_a_tooth_that_would_come_after_the_motion_s_end_does_not_come():
    gone, new = gone_and_new("kind: late_tooth, track: crank, teeth: [4], deg: 100, from_turn: 2")
    assert (gone, new) == ([(165_000, "crank", 1), (172_500, "crank", 0)], [])


def test_a_wandering_cam_is_late_by_up_to_its_range():
    signal = faulty("kind: wandering, track: cam, range_deg: 6, period_s: 0.1", motion=turns(40))
    late = [b - a for (a, _), (b, _) in
            zip(sound(motion=turns(40)).on("cam"), signal.on("cam"), strict=False)]  # fmt: skip
    assert all(0 <= ticks <= 1001 for ticks in late)
    assert max(late) > 900 and min(late) < 100


@pytest.mark.parametrize(
    "words",
    [
        "range_deg: 80, period_s: 0.05",
        "range_deg: 80, period_s: 0.3, teeth: [2]",
        "range_deg: 80, period_s: 0.3, to_turn: 1.5",
    ],
)
def test_a_crank_track_that_wanders_beyond_its_teeth_keeps_them_in_order(words):
    ripple = CompressionRipple(Fraction(1, 3), Fraction(2))
    slow = Motion([hold(Fraction(200), turns=Fraction(3), ripple=ripple)])
    signal = faulty(f"kind: wandering, track: crank, {words}", motion=slow)
    assert any(to > tick + 10_000 for _, tick, to in signal.changes)


def test_a_false_start_stops_behind_its_last_tooth_and_loses_no_edge():
    """Two teeth at 300 rpm: 157.5 degrees, then a second of rest, then the rest of the turns."""
    signal = faulty("kind: false_start, track: crank, teeth: 2, rpm: 300, pause_s: 1",
                    motion=turns(2))  # fmt: skip
    kick = [(0, 1), (25_000, 0), (50_000, 1), (75_000, 0)]
    rest = signal.on("crank")[4:]
    assert signal.on("crank")[:4] == kick
    assert rest[0] == (87_500 + 1_000_000 + 3_750, 1)
    assert signal.plan.motion.end_s == Fraction(12075, 10000)
    beyond = faulty("kind: false_start, track: crank, teeth: 9, rpm: 300", motion=turns(2))
    assert beyond.plan.motion[1].begin_s == Fraction(7875, 10) / (6 * 300)


def test_a_cam_s_timing_begins_behind_a_false_start():
    """The kick takes 87.5 ms and the pause a second."""
    wander = Wander(Fraction(3), Fraction(1, 50), Fraction(0), Fraction(1, 10), 7)
    moves = ((Fraction(0), Fraction(20)), (Fraction(1, 10), Fraction(10)))
    late = Fraction(10875, 10000)
    for timing in (CamTiming(moves, wander), CamTiming(moves), CamTiming(moves[:1], wander)):
        motion = Motion([hold(Fraction(1000), turns=Fraction(4))], cams={"cam": timing})
        start = faulty("kind: false_start, track: crank, teeth: 2, rpm: 300, pause_s: 1",
                       motion=motion)  # fmt: skip
        cam = start.plan.motion.cams["cam"]
        for ms in (0, 33, 50, 100, 200):
            at = Fraction(ms, 1000)
            assert cam.advance_deg(at + late) == timing.advance_deg(at)
        assert cam.advance_deg(late / 2) == Fraction(20)
