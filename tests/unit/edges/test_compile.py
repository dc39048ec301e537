"""The edge table: where it begins and ends, in which order, and that nothing depends on chunks."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import wheel_levels
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.errors import UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import find
from edgewheel.wheel.model import DirectionPulse, Sensor, Tooth, Track, Wheel

WHEEL = wheel_levels(find("60-minus-2-half-moon-cam"))
RIPPLE = CompressionRipple(Fraction(1, 4), Fraction(2))


def turning_everywhere() -> Motion:
    """Every kind of segment, the engine turning back once."""
    return Motion(
        [
            ramp(Fraction(0), Fraction("300.7"), seconds=Fraction(1, 3)),
            hold(Fraction("300.7"), turns=Fraction("2.2")),
            hold(Fraction("300.7"), turns=Fraction("2.2"), ripple=RIPPLE),
            ramp(Fraction("300.7"), Fraction(0), rpm_per_s=Fraction(900), ripple=RIPPLE),
            hold(Fraction(0), seconds=Fraction(1)),
            ramp(Fraction(0), Fraction(-60), seconds=Fraction(1, 5)),
            ramp(Fraction(-60), Fraction(0), seconds=Fraction(1, 5)),
            ramp(Fraction(0), Fraction(4000), seconds=Fraction(1)),
        ]
    )


def one_tooth(**sensor) -> Wheel:
    tooth = Tooth(Fraction(90), Fraction(100))
    return Wheel("one", "", 360, (Track("crank", "crank", Sensor(**sensor), (tooth,)),))


def rows(chunk: EdgeChunk) -> list[tuple[int, int, int]]:
    return list(zip(chunk.ticks.tolist(), chunk.track.tolist(), chunk.level.tolist(), strict=True))


def test_the_edge_at_angle_0_has_tick_0_and_the_last_turn_is_open():
    compiler = EdgeCompiler(WHEEL, Motion([hold(Fraction(250), turns=Fraction(2))]), 1_000_000)
    table = join(*compiler.chunks())
    assert rows(table)[0] == (0, 0, 1)
    assert len(table) == len(WHEEL)
    assert table.ticks[-1] < 480_000


def test_a_start_angle_leaves_out_what_lies_before_it():
    motion = Motion([hold(Fraction(250), turns=Fraction(1))], start_deg=Fraction(100))
    compiler = EdgeCompiler(WHEEL, motion, 1_500_000)
    assert compiler.header().initial == (0, 0)
    assert rows(join(*compiler.chunks()))[0] == (2_000, 0, 1)


@pytest.mark.parametrize("chunk_edges", [1, 7, 236, 5000])
def test_nothing_depends_on_the_size_of_chunks(chunk_edges):
    compiler = EdgeCompiler(WHEEL, turning_everywhere(), 125_000_000)
    whole = join(*compiler.chunks())
    pieces = list(compiler.chunks(chunk_edges=chunk_edges))
    assert max(map(len, pieces)) <= chunk_edges
    assert rows(join(*pieces)) == rows(whole)


@pytest.mark.parametrize("seconds", ["0.4", "0.9", "1.7", "3.1", "3.3", "4"])
def test_a_table_read_from_any_time_is_the_rest_of_the_whole(seconds):
    compiler = EdgeCompiler(WHEEL, turning_everywhere(), 125_000_000)
    begin_s = Fraction(seconds)
    whole = join(*compiler.chunks())
    rest = join(*compiler.chunks(begin_s))
    cut = int(np.searchsorted(whole.ticks, float(begin_s * 125_000_000)))
    assert rows(rest) == rows(whole[cut:])
    levels = list(compiler.header().initial)
    for _, track, level in rows(whole[:cut]):
        levels[track] = level
    assert compiler.header(begin_s).initial == tuple(levels)
    assert rows(join(*compiler.chunks(end_s=begin_s), EdgeChunk.empty())) == rows(whole[:cut])


def test_levels_alternate_and_time_ascends_whichever_way_the_engine_turns():
    table = join(*EdgeCompiler(WHEEL, turning_everywhere(), 125_000_000).chunks())
    assert (np.diff(table.ticks) >= 0).all()
    for track, initial in enumerate(WHEEL.initial):
        levels = [initial, *table.level[table.track == track].tolist()]
        assert all(a != b for a, b in pairwise(levels))


@pytest.mark.parametrize("start", range(0, 360, 3))
def test_an_engine_that_stops_on_an_edge_neither_loses_nor_repeats_it(start):
    """Under a ripple the place of the stop is rounded, to either side of the edge."""
    motion = Motion(
        [
            ramp(Fraction(600), Fraction(0), turns=Fraction(1, 2), ripple=RIPPLE),
            hold(Fraction(0), seconds=Fraction(1)),
            hold(Fraction(0), seconds=Fraction(1), ripple=RIPPLE),
            ramp(Fraction(0), Fraction(600), turns=Fraction(1, 2), ripple=RIPPLE),
        ],
        Fraction(start),
    )
    compiler = EdgeCompiler(WHEEL, motion, 125_000_000)
    table = join(*compiler.chunks())
    assert abs(len(table) - 118) <= 4
    for track in range(2):
        levels = [compiler.header().initial[track], *table.level[table.track == track].tolist()]
        assert all(a != b for a, b in pairwise(levels))
    resting = compiler.header(Fraction(1)).initial
    assert compiler.header(Fraction(2)).initial == resting


def test_turning_back_meets_the_same_edges_mirrored_in_time():
    """But for the edge at its begin: that would be at its end, which is no part of it."""
    there_and_back = Motion(
        [
            hold(Fraction(600), turns=Fraction("1.25")),
            hold(Fraction(-600), turns=Fraction("1.25")),
        ]
    )
    table = rows(join(*EdgeCompiler(WHEEL, there_and_back, 1_000_000).chunks()))
    middle = 125_000
    there = [row for row in table if 0 < row[0] < middle]
    back = [(2 * middle - tick, track, 1 - level) for tick, track, level in table if tick >= middle]
    assert back[::-1] == there


def test_a_wheel_that_turns_back_on_an_edge_from_either_side_does_not_pass_it():
    """The tooth from 90 to 100 degrees: up to its end, back to its begin, forth again and away."""
    ways = (Fraction(100), Fraction(-10), Fraction(10), Fraction(-20))
    motion = Motion([hold(Fraction(60 if way > 0 else -60), turns=abs(way) / 360) for way in ways])
    table = join(*EdgeCompiler(wheel_levels(one_tooth()), motion, 360).chunks())
    assert rows(table) == [(90, 0, 1), (130, 0, 0)]


def test_metal_low_turns_the_levels_over():
    motion = Motion([hold(Fraction(60), turns=Fraction(1))])
    high = join(*EdgeCompiler(wheel_levels(one_tooth()), motion, 360).chunks())
    low_levels = wheel_levels(one_tooth(metal="low"))
    low = join(*EdgeCompiler(low_levels, motion, 360).chunks())
    assert rows(high) == [(90, 0, 1), (100, 0, 0)]
    assert rows(low) == [(90, 0, 0), (100, 0, 1)]
    assert low_levels.initial == (1,)


def test_a_vr_sensor_crosses_at_the_centre_of_tooth_and_space():
    levels = wheel_levels(one_tooth(kind="vr"))
    assert levels.angles == (Fraction(95), Fraction(275))
    assert levels.level == (0, 1)
    assert levels.initial == (1,)


def test_reversed_leads_put_the_falling_edge_into_the_gap():
    levels = wheel_levels(one_tooth(kind="vr", metal="low"))
    assert dict(zip(levels.level, levels.angles, strict=True))[0] == Fraction(275)


def test_a_direction_sensor_answers_each_tooth_by_a_pulse_that_tells_the_way():
    pulse = DirectionPulse(Fraction(45), Fraction(90))
    levels = wheel_levels(one_tooth(direction=pulse))
    there_and_back = Motion(
        [hold(Fraction(60), turns=Fraction(1, 2)), hold(Fraction(-60), turns=Fraction(1, 2))]
    )
    table = join(*EdgeCompiler(levels, there_and_back, 1_000_000).chunks())
    assert rows(table) == [
        (250_000, 0, 1),
        (250_045, 0, 0),
        (750_000, 0, 1),
        (750_090, 0, 0),
    ]


def test_direction_pulses_that_would_overlap_are_refused():
    pulse = DirectionPulse(Fraction(10_000), Fraction(20_000))
    motion = Motion([hold(Fraction(6000), turns=Fraction(3))])
    compiler = EdgeCompiler(wheel_levels(one_tooth(direction=pulse)), motion, 1_000_000)
    with pytest.raises(UsageError, match="Lower the speed"):
        list(compiler.chunks())


def test_a_ripple_that_never_fits_the_wheel_is_refused():
    odd = CompressionRipple(Fraction(1, 4), Fraction(361, 360))
    compiler = EdgeCompiler(WHEEL, Motion([hold(Fraction(60), turns=Fraction(1), ripple=odd)]), 100)
    with pytest.raises(UsageError, match="does not fit"):
        list(compiler.chunks())
