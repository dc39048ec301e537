from fractions import Fraction

from edgewheel.wheel.angles import angle_table
from edgewheel.wheel.loader import parse_wheel
from library_wheels import entries


def wheel(tracks: str, period: int = 720):
    return parse_wheel(f"format: 1\nname: test\nperiod: {period}\ntracks: {tracks}", "test.yaml")


def test_crank_track_passes_twice_in_an_engine_cycle():
    table = angle_table(wheel("{crank: {shaft: crank, teeth: [[10, 30]]}}"))
    assert table.angles == (10, 30, 370, 390)
    assert table.metal == (True, False, True, False)
    assert table.before == (False,)


def test_cam_track_passes_once_at_twice_the_crank_degrees():
    table = angle_table(wheel("{cam: {shaft: cam, teeth: [[10, 30]]}}"))
    assert table.angles == (20, 60)


def test_tooth_across_the_end_of_the_period_is_metal_before_angle_zero():
    table = angle_table(wheel("{crank: {shaft: crank, teeth: [[350, 370]]}}", period=360))
    assert table.angles == (10, 350)
    assert table.metal == (False, True)
    assert table.before == (True,)


def test_tooth_that_ends_with_the_turn_goes_at_angle_zero():
    table = angle_table(wheel("{crank: {shaft: crank, teeth: [[300, 360]]}}", period=360))
    assert table.angles == (0, 300)
    assert table.metal == (False, True)
    assert table.before == (True,)


def test_edges_at_one_angle_stand_in_the_order_of_their_tracks():
    table = angle_table(
        wheel("{b: {shaft: crank, teeth: [[0, 90]]}, a: {shaft: crank, teeth: [[90, 180]]}}", 360)
    )
    assert table.tracks == ("b", "a")
    assert list(zip(table.angles, table.track, table.metal, strict=True)) == [
        (0, 0, True),
        (90, 0, False),
        (90, 1, True),
        (180, 1, False),
    ]


def test_sevenths_stay_exact():
    table = angle_table(wheel("{crank: {shaft: crank, teeth: {pitches: 7}}}", period=360))
    assert table.angles[2] == Fraction(360, 7)


def test_every_library_wheel_alternates_on_every_track():
    for entry in entries():
        table = angle_table(entry.wheel)
        assert list(table.angles) == sorted(table.angles)
        assert table.angles[0] >= 0 and table.angles[-1] < table.period
        levels = list(table.before)
        for track, metal in zip(table.track, table.metal, strict=True):
            assert levels[track] != metal, entry.stem
            levels[track] = metal
        assert levels == list(table.before), entry.stem
