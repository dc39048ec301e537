"""Variable cam timing over time: orders, rate, wander."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.motion.cam import CamTiming, Wander, moved

SECONDS = st.fractions(0, 20, max_denominator=1000)
HUNTING = CamTiming(
    moved(Fraction(0), [(Fraction(2), Fraction(20)), (Fraction(3), Fraction(-10))], Fraction(15)),
    Wander(Fraction(2), Fraction(1, 3), Fraction(1), Fraction(12), seed=5),
)


def F(text: str) -> Fraction:
    return Fraction(text)


def test_an_order_is_carried_out_at_the_rate_and_a_later_one_cuts_it_short():
    timing = CamTiming(moved(F("5"), [(F("1"), F("35")), (F("2"), F("0"))], F("20")))
    places = {"0": 5, "1": 5, "1.5": 15, "2": 25, "2.5": 15, "3.25": 0, "99": 0}
    assert {at: timing.advance_deg(F(at)) for at in places} == places


def test_an_order_to_where_it_stands_changes_nothing():
    assert CamTiming(moved(F("0"), [(F("0"), F("0"))], F("20"))).advance_deg(F("7")) == 0


def test_a_wander_stays_within_its_degrees_and_comes_back():
    wander = Wander(F("2"), F("1/10"), F("1"), F("3"), seed=1)
    places = [wander.at(Fraction(n, 100)) for n in range(500)]
    assert all(abs(place) <= 2 for place in places)
    assert max(places) > 1 > -1 > min(places)
    assert set(places[:101]) == set(places[300:]) == {0}


def test_wanders_of_another_seed_differ_and_of_the_same_do_not():
    def places(seed: int) -> list[Fraction]:
        return [Wander(F("2"), F("1/10"), seed=seed).at(Fraction(n, 10)) for n in range(20)]

    assert places(1) == places(1) != places(2)


@given(SECONDS, SECONDS)
def test_it_never_moves_faster_than_rate_and_wander_together(first, second):
    limit = 15 + HUNTING.wander.fastest
    moved_deg = abs(HUNTING.advance_deg(first) - HUNTING.advance_deg(second))
    assert moved_deg <= limit * abs(first - second)


@given(SECONDS)
def test_pace_is_even_from_knot_to_knot(seconds):
    begin, end = HUNTING.last_knot_s(seconds), HUNTING.next_knot_s(seconds)
    if begin is None or end is None:
        assert HUNTING.advance_deg(seconds) == HUNTING.advance_deg(end or begin)
        return
    assert begin <= seconds < end
    assert HUNTING.last_knot_s(end, before=True) == begin
    share = (seconds - begin) / (end - begin)
    first, last = HUNTING.advance_deg(begin), HUNTING.advance_deg(end)
    assert HUNTING.advance_deg(seconds) == first + (last - first) * share


@pytest.mark.parametrize("points", [((F("0"), F("7")),), ((F("3"), F("7")),)])
def test_a_fixed_advance_has_one_knot_at_most(points):
    timing = CamTiming(points)
    assert {timing.advance_deg(F(at)) for at in ("0", "3", "50")} == {7}
    assert timing.next_knot_s(F("4")) is None
