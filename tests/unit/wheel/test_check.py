from fractions import Fraction

import pytest

from edgewheel.wheel import library
from edgewheel.wheel.check import check
from edgewheel.wheel.landmarks import degrees_to_tdc, gaps, reference
from edgewheel.wheel.limits import shortest_stretches
from edgewheel.wheel.loader import parse_wheel
from edgewheel.wheel.model import Tooth
from edgewheel.wheel.pins import levels_at, pin_edges
from edgewheel.wheel.ratios import period_ratios
from edgewheel.wheel.safe import safe_edge


def wheel(tracks: str, period: int = 720, tdc: str = ""):
    text = f"format: 1\nname: t\nperiod: {period}\ntracks:\n{tracks}\n"
    return parse_wheel(text + (f"tdc: {tdc}\n" if tdc else ""), "t.yaml")


def track(teeth: str, sensor: str = "{}", shaft: str = "crank"):
    return wheel(f"  t: {{shaft: {shaft}, sensor: {sensor}, teeth: {teeth}}}").tracks[0]


def edges(one, period=360, choice="both"):
    return [(edge.angle, edge.rises) for edge in pin_edges(one, period, choice)]


def test_metal_low_falls_where_metal_comes():
    assert edges(track("[[10, 30]]", "{metal: low}")) == [(10, False), (30, True)]


def test_vr_crosses_at_the_centres_of_tooth_and_space():
    assert edges(track("[[0, 20], [100, 120]]", "{kind: vr}")) == [
        (10, False),
        (60, True),
        (110, False),
        (240, True),
    ]


def test_direction_sensor_has_one_edge_a_tooth_whatever_the_choice():
    one = track("[[0, 20], [100, 120]]", "{direction: {forward_us: 45, reverse_us: 90}}")
    assert edges(one) == edges(one, choice="fall") == [(0, True), (100, True)]


def test_level_holds_from_its_edge_on_and_across_the_turn():
    one = track("[[350, 370]]")
    angles = [Fraction(a) for a in (0, 9, 10, 349, 350)]
    assert levels_at(one, 360, angles) == (True, True, False, False, True)


def test_gap_ratio_of_sixty_minus_two_is_three_and_its_recovery_a_third():
    one = track("{pitches: 60, missing: 2}")
    ratios = period_ratios(one, 360, "rise")
    by_kind = {
        kind: {r.ratio for r in ratios if r.kind == kind} for kind in {r.kind for r in ratios}
    }
    assert by_kind == {"gap": {3}, "after a gap": {Fraction(1, 3)}, "ordinary": {1}}
    gap = next(ratio for ratio in ratios if ratio.kind == "gap")
    assert (gap.tooth, gap.angles) == (1, (-24, -18, 0))


def test_reversed_edge_of_a_vr_sensor_splits_the_gap_in_two():
    """At the centre of the spaces the gap shows as two periods of two pitches, not one of three."""
    one = track("{pitches: 60, missing: 2}", "{kind: vr}")
    wrong = [ratio.ratio for ratio in period_ratios(one, 360, "rise") if ratio.ratio != 1]
    assert wrong == [Fraction(1, 2), 2]
    assert safe_edge(one, 360).edge == "fall"


def test_added_tooth_is_irregular_not_a_gap():
    kinds = [
        ratio.kind
        for ratio in period_ratios(
            track("{pitches: 12, width: 1/4, extra: [[345, 350]]}"), 360, "rise"
        )
    ]
    assert "gap" not in kinds
    assert kinds.count("irregular") == 3


def test_equal_teeth_leave_both_edges_safe_and_shift_all_alike():
    safe = safe_edge(track("{pitches: 60, missing: 2}"), 360)
    assert safe.edge is None
    assert {shift for _, shift in safe.shifts} == {3}
    assert len(safe.shifts) == 58


def test_unequal_teeth_make_the_even_edge_safe():
    safe = safe_edge(track("{spans: [20, 70, 30, 60, 40, 50, 50, 40]}"), 360)
    assert safe.edge == "rise"
    assert safe.shifts == ((1, 20), (2, 30), (3, 40), (4, 50))


def test_trailing_edge_that_is_even_is_safe_and_the_other_is_earlier():
    safe = safe_edge(track("[[70, 90], [150, 180], [230, 270], [310, 360]]"), 360)
    assert safe.edge == "fall"
    assert safe.shifts == ((1, -20), (2, -30), (3, -40), (4, -50))


def test_shift_on_a_cam_is_given_in_crank_degrees():
    assert safe_edge(track("[[20, 200]]", shaft="cam"), 720).shifts == ((1, 360),)


def test_speed_at_which_the_shortest_tooth_is_too_short():
    """3 degrees at 1,000 rpm, 6,000 degrees a second, last 500 microseconds."""
    tooth, space = shortest_stretches(track("{pitches: 60, missing: 2}"), 720)
    assert (tooth.kind, tooth.degrees, space.kind, space.degrees) == ("tooth", 3, "space", 3)
    assert tooth.us_at(Fraction(1000)) == 500
    assert tooth.rpm_limit(Fraction(500)) == 1000


def test_direction_pulse_takes_its_time_from_the_pitch():
    """6 degrees take 100 microseconds at 10,000 rpm: 90 for the pulse leave 10."""
    one = track("{pitches: 60}", "{direction: {forward_us: 45, reverse_us: 90}}")
    (pitch,) = shortest_stretches(one, 360)
    assert pitch.rpm_limit(Fraction(10)) == 10_000
    assert pitch.us_at(Fraction(10_000)) == 10


def test_reference_is_the_first_tooth_after_the_gap_before_tdc():
    one = wheel("  c: {shaft: crank, teeth: {pitches: 60, missing: 2}}", tdc="{1: 444, 2: 84}")
    found = reference(one)
    assert (found.tooth, found.landmark, found.rise, found.fall) == (1, "gap", 360, 363)
    assert degrees_to_tdc(one, found.rise) == 84
    assert degrees_to_tdc(one, found.fall) == 81


def test_reference_after_the_longer_of_two_gaps():
    one = wheel("  c: {shaft: crank, teeth: {pitches: 36, missing: [5, 35, 36]}}", period=360)
    assert reference(one).rise == 0


def test_reference_of_an_even_wheel_follows_the_other_track():
    one = wheel(
        "  c: {shaft: crank, teeth: {pitches: 12}}\n  cam: {shaft: cam, teeth: [[340, 350]]}",
        tdc="{1: 60}",
    )
    found = reference(one)
    assert (found.landmark, found.other, found.rise) == ("other track", "cam", 690)


def test_reference_after_a_wide_tooth_that_only_one_edge_shows():
    one = wheel("  c: {shaft: crank, teeth: {pitches: 12, missing: 1, extra: [[330, 355]]}}", 360)
    found = reference(one)
    assert (found.landmark, found.tooth, found.rise, found.fall) == ("odd tooth", 1, 0, 15)


def test_reference_across_the_end_of_the_period_keeps_its_own_edges():
    one = wheel("  c: {shaft: crank, teeth: {pitches: 4, missing: 1, offset: -10}}")
    found = reference(one)
    assert (found.fall - found.rise) % 720 == 45


@pytest.mark.parametrize(
    ("teeth", "speed"),
    [
        ("{pitches: 12}", "every period"),
        ("{pitches: 36, missing: 1}", "most periods"),
        ("[[0, 10], [50, 60], [200, 210]]", "whole turns"),
    ],
)
def test_speed_is_always_there_but_not_from_the_same(teeth: str, speed: str):
    assert check(wheel(f"  c: {{shaft: crank, teeth: {teeth}}}")).speed_from == speed


def test_what_a_wheel_gives():
    even = check(wheel("  c: {shaft: crank, teeth: {pitches: 12}}"))
    assert (even.gives_position, even.gives_phase) == (False, False)
    assert even.alike_deg == tuple(range(30, 720, 30))
    gap = check(wheel("  c: {shaft: crank, teeth: {pitches: 12, missing: 1}}"))
    assert (gap.gives_position, gap.gives_phase, gap.alike_deg) == (True, False, (360,))
    cam = check(library.find("60-minus-2-half-moon-cam"))
    assert (cam.gives_position, cam.gives_phase, cam.alike_deg) == (True, True, ())


def test_gap_is_a_space_well_beyond_the_usual_one():
    assert gaps(track("{pitches: 36, missing: [18, 35, 36]}")) == (
        (18, Tooth(Fraction(165), Fraction(180))),
        (1, Tooth(Fraction(335), Fraction(360))),
    )
    assert gaps(track("{spans: [30, 60, 30, 60, 30, 60, 22, 68]}")) == ()
