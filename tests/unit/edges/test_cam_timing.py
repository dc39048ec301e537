"""Cams timed over time: each edge at its own exact moment."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from mpmath import mpf

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable, wheel_levels
from edgewheel.edges.moved import MovedCourse
from edgewheel.edges.phase import PhaseTables
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.errors import UsageError
from edgewheel.motion.cam import CamTiming, Wander, moved
from edgewheel.motion.gas import gas_ripple
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import Segment, hold, ramp
from edgewheel.wheel.library import find
from edgewheel.wheel.model import Sensor, Tooth, Track, Wheel
from engines import four
from ideal import cam_edge_time, precise

TICK_HZ = 125_000_000
CRANK_AND_CAM = wheel_levels(find("60-minus-2-half-moon-cam"))
MOVES = CamTiming(moved(Fraction(0), [(Fraction(1, 5), Fraction(30))], Fraction(60)))
HUNTS = CamTiming(wander=Wander(Fraction(3), Fraction("0.05"), Fraction("0.1"), Fraction(2)))
GAS = gas_ripple(four(), Fraction(200))
DEPTH = CompressionRipple(Fraction(1, 4), Fraction(2), Fraction(84))


def cam_wheel(teeth: int = 4) -> LevelTable:
    """A wheel of one cam track only."""
    metal = tuple(
        Tooth(Fraction(360 * n + 50, teeth), Fraction(360 * n + 130, teeth)) for n in range(teeth)
    )
    return wheel_levels(Wheel("cam", "", 720, (Track("cam", "cam", Sensor(), metal),)))


CAM = cam_wheel()


def cranking(*segments: Segment, cam: CamTiming, start: int = 0) -> Motion:
    return Motion(segments, Fraction(start), {"cam": cam})


def compiled(levels: LevelTable, motion: Motion, begin_s: int = 0) -> EdgeChunk:
    return join(*EdgeCompiler(levels, motion, TICK_HZ).chunks(Fraction(begin_s)))


def held(rpm: int, turns: int, ripple=None) -> Segment:
    return hold(Fraction(rpm), turns=Fraction(turns), ripple=ripple)


MOTIONS = {
    "steady, moving": cranking(held(900, 12), cam=MOVES),
    "steady, hunting": cranking(held(900, 12), cam=HUNTS),
    "ramp, moving": cranking(ramp(Fraction(300), Fraction(4000), seconds=Fraction(1)), cam=MOVES),
    "from rest, hunting": cranking(
        ramp(Fraction(0), Fraction(900), seconds=Fraction(1)), cam=HUNTS
    ),
    "gas, moving": cranking(held(200, 5, GAS), cam=MOVES),
    "gas, hunting": cranking(held(200, 5, GAS), cam=HUNTS),
    "gas, ramp": cranking(
        ramp(Fraction(200), Fraction(700), seconds=Fraction(2), ripple=GAS), cam=MOVES
    ),
}


@pytest.mark.parametrize("name", MOTIONS)
def test_cam_edges_are_within_half_a_tick_of_their_own_time(name):
    motion = MOTIONS[name]
    found = compiled(CAM, motion).ticks.tolist()
    assert len(found) > 10
    assert_own_times(found, motion, range(len(found)))


def test_cam_edges_under_a_depth_ripple_are_within_half_a_tick():
    motion = cranking(held(200, 3, DEPTH), cam=MOVES)
    found = compiled(cam_wheel(1), motion).ticks.tolist()
    angles = [angle + 720 * n for n in range(3) for angle in cam_wheel(1).angles]
    for tick, angle in zip(found, angles, strict=False):
        ideal = cam_edge_time(motion, MOVES, precise(angle), mpf(tick) / TICK_HZ) * TICK_HZ
        assert abs(tick - ideal) <= 0.5 + 1e-6


@pytest.mark.parametrize("ripple", [None, GAS])
def test_a_cam_that_moves_after_a_day_is_within_half_a_tick(ripple):
    day_s = 24 * 3600
    late = CamTiming(moved(Fraction(0), [(Fraction(day_s), Fraction(30))], Fraction(60)))
    rpm = Fraction("203.7")
    motion = cranking(hold(rpm, seconds=Fraction(day_s + 1), ripple=ripple), cam=late)
    found = compiled(CAM, motion, day_s).ticks.tolist()
    whole, rest = divmod(motion.at(Fraction(day_s)).angle_deg, 720)
    first = int(whole) * len(CAM) + sum(angle < rest for angle in CAM.angles)
    assert len(found) >= 12
    assert_own_times(found, motion, range(first, first + len(found)))


def test_a_cam_that_creeps_for_hours_is_within_half_a_tick():
    hours_s = 4 * 3600
    creeping = CamTiming(moved(Fraction(0), [(Fraction(0), Fraction(40))], Fraction(1, 400)))
    whole = hold(Fraction("203.7"), seconds=Fraction(hours_s), ripple=GAS)
    motion = cranking(whole, cam=creeping)
    found = compiled(CAM, motion, hours_s - 20).ticks.tolist()
    begin_s = Fraction(hours_s - 20)
    place = motion.at(begin_s).angle_deg + creeping.advance_deg(begin_s)
    cycle, rest = divmod(place, 720)
    assert len(found) >= 250
    first = int(cycle) * len(CAM) + sum(angle < rest for angle in CAM.angles)
    course = MovedCourse("cam", creeping, PhaseTables(CAM), motion, TICK_HZ)
    stretch = course.at(begin_s)
    assert stretch.begin_s <= begin_s < stretch.end_s <= stretch.begin_s + 8
    assert_own_times(found[::9], motion, range(first, first + len(found), 9))


def assert_own_times(found: list[int], motion: Motion, edges: range) -> None:
    n = len(CAM)
    for edge, tick in zip(edges, found, strict=True):
        angle = precise(CAM.angles[edge % n] + 720 * (edge // n))
        near = mpf(tick) / TICK_HZ
        ideal = cam_edge_time(motion, motion.cams["cam"], angle, near) * TICK_HZ
        assert abs(tick - ideal) <= 0.5 + 1e-6


@pytest.mark.parametrize("ripple", [None, DEPTH, GAS])
def test_a_cam_that_stays_advanced_is_one_that_started_further_on(ripple):
    """On a wheel of one cam track alone, without ripple; with one, of the tracks beside it."""
    early = CamTiming(((Fraction(0), Fraction("12.5")),))
    if ripple is None:
        ahead = Motion([held(700, 8)], Fraction("12.5"))
        assert rows(compiled(CAM, cranking(held(700, 8), cam=early))) == rows(compiled(CAM, ahead))
        return
    shifted = replace(CAM, angles=tuple(angle - Fraction("12.5") for angle in CAM.angles))
    assert min(shifted.angles) >= 0
    found = compiled(CAM, cranking(held(300, 8, ripple), cam=early))
    assert rows(found) == rows(compiled(shifted, Motion([held(300, 8, ripple)])))


def test_positive_is_earlier():
    early = cranking(held(100, 2), cam=CamTiming(((Fraction(0), Fraction(6)),)))
    late = cranking(held(100, 2), cam=CamTiming(((Fraction(0), Fraction(-6)),)))
    plain = Motion([held(100, 2)])
    ticks = [compiled(CAM, motion).ticks for motion in (early, plain, late)]
    assert (ticks[0] == ticks[1] - TICK_HZ // 100).all()
    assert (ticks[2] == ticks[1] + TICK_HZ // 100).all()


def test_the_crank_does_not_feel_its_cam():
    motion = MOTIONS["gas, hunting"]
    both = compiled(CRANK_AND_CAM, motion)
    alone = compiled(CRANK_AND_CAM, Motion([held(200, 5, GAS)]))
    assert both.ticks[both.track == 0].tolist() == alone.ticks[alone.track == 0].tolist()
    assert len(both) == len(alone)
    assert both.ticks[both.track == 1].tolist() != alone.ticks[alone.track == 1].tolist()


def test_a_phaser_that_moves_at_standstill_takes_its_edges_along():
    rest = hold(Fraction(0), seconds=Fraction(4))
    timing = CamTiming(moved(Fraction(0), [(Fraction(1), Fraction(40))], Fraction(20)))
    table = compiled(CAM, cranking(rest, cam=timing))
    assert table.ticks.tolist() == [TICK_HZ * (20 + 25) // 20]
    assert table.level.tolist() == [1]


def test_a_retard_faster_than_the_engine_turns_passes_edges_in_reverse():
    timing = CamTiming(moved(Fraction(0), [(Fraction(3), Fraction(-60))], Fraction(60)))
    motion = cranking(hold(Fraction(2), seconds=Fraction(9)), cam=timing)
    table = compiled(CAM, motion)
    assert table.level.tolist() == [1, 0, 1]
    times_s = [Fraction(25, 12), 3 + Fraction(11, 48), 4 + Fraction(37, 12)]
    assert table.ticks.tolist() == [round(seconds * TICK_HZ) for seconds in times_s]


@pytest.mark.parametrize("name", MOTIONS)
@pytest.mark.parametrize("chunk_edges", [1, 7, 300])
def test_nothing_depends_on_the_size_of_chunks(name, chunk_edges):
    compiler = EdgeCompiler(CRANK_AND_CAM, MOTIONS[name], TICK_HZ)
    pieces = list(compiler.chunks(chunk_edges=chunk_edges))
    assert max(map(len, pieces)) <= chunk_edges
    assert rows(join(*pieces)) == rows(join(*compiler.chunks()))


@pytest.mark.parametrize("name", MOTIONS)
def test_a_table_read_from_any_time_is_the_rest_of_the_whole(name):
    compiler = EdgeCompiler(CRANK_AND_CAM, MOTIONS[name], TICK_HZ)
    whole = join(*compiler.chunks())
    levels = list(compiler.header().initial)
    done = 0
    for seconds in ("0.1", "0.2", "0.3001", "0.55", "0.7", "0.79"):
        begin_s = Fraction(seconds)
        cut = int(np.searchsorted(whole.ticks, float(begin_s * TICK_HZ)))
        assert rows(join(*compiler.chunks(begin_s))) == rows(whole[cut:])
        assert rows(join(*compiler.chunks(end_s=begin_s))) == rows(whole[:cut])
        for _, track, level in rows(whole[done:cut]):
            levels[track] = level
        assert compiler.header(begin_s).initial == tuple(levels)
        done = cut


@pytest.mark.parametrize("name", MOTIONS)
def test_levels_alternate_and_time_ascends(name):
    table = compiled(CRANK_AND_CAM, MOTIONS[name])
    assert (np.diff(table.ticks) >= 0).all()
    for track in range(2):
        levels = table.level[table.track == track].tolist()
        assert all(a != b for a, b in pairwise(levels))


@pytest.mark.parametrize(
    ("track", "words"), [("crank", "no cam track of this wheel"), ("intake", "cam tracks are: cam")]
)
def test_a_timing_for_no_cam_is_refused(track, words):
    motion = Motion([held(100, 1)], cams={track: MOVES})
    with pytest.raises(UsageError, match=words):
        EdgeCompiler(CRANK_AND_CAM, motion, TICK_HZ)


def test_a_cam_that_would_turn_back_amid_a_ripple_is_refused():
    back = CamTiming(moved(Fraction(0), [(Fraction("0.1"), Fraction(-30))], Fraction(200)))
    slow = ramp(Fraction(0), Fraction(200), seconds=Fraction(1), ripple=GAS)
    with pytest.raises(
        UsageError, match=r"At 0\.1 s track 'cam' is moved by -200 degrees a second"
    ):
        compiled(CRANK_AND_CAM, cranking(slow, cam=back))


def rows(chunk: EdgeChunk) -> list[tuple[int, int, int]]:
    return list(zip(chunk.ticks.tolist(), chunk.track.tolist(), chunk.level.tolist(), strict=True))
