"""Faults of teeth change exactly the edges that they say: dropped, missing, bent, worn, off axis.

Four even teeth at 1000 rpm and a clock of a megahertz: tooth n of turn t rises at
60,000 (t - 1) + 15,000 (n - 1) and falls 7,500 ticks later; a degree is 166 2/3 ticks.
"""

from fractions import Fraction

import pytest

from edgewheel.errors import UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold
from edgewheel.wheel.model import Sensor
from signals import FOUR, Signal, faulty, gone_and_new, turns, wheel_of


def test_a_dropped_tooth_takes_both_edges_with_it():
    gone, new = gone_and_new("kind: dropped_tooth, track: crank, teeth: [2], from_turn: 1")
    assert gone == [(t, "crank", v) for b in (75_000, 135_000) for t, v in ((b, 1), (b + 7500, 0))]
    assert new == []


def test_a_tooth_that_passes_by_half_is_not_dropped():
    """The crank starts on tooth 1, and turns round on tooth 3, which so passes as a pulse."""
    there_and_back = Motion(
        [
            hold(Fraction(1000), turns=Fraction(180, 360)),
            hold(Fraction(-1000), turns=Fraction(30, 360)),
        ],
        Fraction(20),
    )
    how = {"motion": there_and_back}
    gone, new = gone_and_new("kind: dropped_tooth, track: crank, teeth: [1, 3]", **how)
    assert gone == [(26_667, "crank", 1), (33_333, "crank", 0)]
    assert new == []


def test_a_dropped_vr_tooth_leaves_the_level_of_the_space_before_it():
    vr = {"crank": Sensor("vr")}
    whole = Signal(motion=turns(2), sensors=vr).on("crank")
    left = faulty("kind: dropped_tooth, track: crank, teeth: [2]", sensors=vr, motion=turns(2)).on(
        "crank"
    )
    assert sorted(set(whole) - set(left)) == [
        (18_750, 0), (26_250, 1), (78_750, 0), (86_250, 1)
    ]  # fmt: skip


def test_a_missing_vr_tooth_moves_the_crossing_of_the_space_to_its_new_middle():
    vr = {"crank": Sensor("vr")}
    edges = faulty("kind: missing_tooth, track: crank, teeth: [2]", sensors=vr, motion=turns(1))
    assert edges.on("crank") == [
        (3750, 0), (18_750, 1), (33_750, 0), (41_250, 1), (48_750, 0), (56_250, 1)
    ]  # fmt: skip


ACROSS = """
format: 1
name: Across
summary: one tooth lies across the end of the turn, and so does the middle of a space
period: 360
tracks:
  crank: {shaft: crank, teeth: [[60, 90], [SPAN]]}
"""


@pytest.mark.parametrize(
    ("span", "sensor", "edges"),
    [("350, 380", Sensor(), (350, 380)), ("300, 350", Sensor("vr"), (325, 385))],
)
def test_a_tooth_across_the_end_of_the_period_is_one_tooth(span, sensor, edges):
    """Tooth 2 is dropped on turns 2 and 4, with the edge of it that comes in the turn after."""
    how = {
        "wheel": wheel_of(ACROSS.replace("SPAN", span)),
        "sensors": {"crank": sensor},
        "motion": turns(5),
    }
    dropped = Signal("{a: {kind: dropped_tooth, track: crank, teeth: [2], every: 2}}", **how)
    gone = sorted(tick for _, tick, _ in dropped.changes)
    assert gone == [round((360 * turn + deg) * 500 / 3) for turn in (1, 3) for deg in edges]


def test_metal_faults_move_metal():
    bent = gone_and_new(
        "kind: bent_tooth, track: crank, teeth: [4], by_deg: -1.5, ", motion=turns(1)
    )
    assert bent[1] == [(44_750, "crank", 1), (52_250, "crank", 0)]
    worn = gone_and_new(
        "kind: worn_teeth, track: crank, teeth: [2], leading_deg: 3, trailing_deg: 1.5",
        motion=turns(1),
    )
    assert worn[1] == [(15_500, "crank", 1), (22_250, "crank", 0)]
    shifted = faulty("kind: shifted, track: cam, by_deg: -30", motion=turns(3))
    assert shifted.header.initial == (0, 1)
    assert shifted.on("cam") == [(26_667, 0), (116_667, 1), (146_667, 0)]


def test_an_eccentric_wheel_as_plane_trigonometry_has_it():
    """A wheel 3 % off its axis towards 0: the edge at 90 is seen at atan2(1, 0.03) degrees."""
    edges = dict(faulty("kind: eccentric, track: crank, offset_percent: 3", motion=turns(1))
                 .on("crank"))  # fmt: skip
    seen_deg = 88.28164183  # atan2(1, 0.03)
    assert min(edges, key=lambda t: abs(t - 15_000)) == round(seen_deg * 500 / 3)
    assert 0 in edges and 30_000 in edges


def test_metal_that_would_touch_is_refused():
    with pytest.raises(UsageError, match="tooth 2 of track 'crank' touches the next one at 180"):
        faulty("kind: bent_tooth, track: crank, teeth: [2], by_deg: 45")
    with pytest.raises(UsageError, match="tooth 1 of track 'crank' vanishes"):
        faulty("kind: worn_teeth, track: crank, leading_deg: 30, trailing_deg: 15")


def test_a_wheel_of_one_track_needs_no_cam():
    text = FOUR.replace("  cam: {shaft: cam, teeth: [[5, 95]]}\n", "")
    signal = Signal("{a: {kind: dropped_tooth, track: crank, teeth: [1]}}", wheel_of(text))
    assert [tick for tick, _ in signal.on("crank")][:2] == [15_000, 22_500]
