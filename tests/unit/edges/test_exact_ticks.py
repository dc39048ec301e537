"""Section 6 of the design: every tick against exact or 50-digit arithmetic, even after a day."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from mpmath import mpf

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.motion.gas import gas_ripple
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.motion.series import SeriesRipple
from edgewheel.wheel.library import names
from engines import four
from ideal import (
    precise,
    precise_mean_angle,
    precise_times,
    rational_ticks,
    rippled_mean_angle,
)
from library_wheels import library_levels

SPEEDS = [Fraction(text) for text in ("20", "33.3", "250", "3000.7", "6000", "20000")]
CLOCKS = [16_000_000, 125_000_000]
EVERY_RIPPLED = 5
"""Numerical integration to 50 digits is slow; this many edges share one check."""

DAY_S = 24 * 3600
WHEELS = names()


def compiled(levels: LevelTable, motion: Motion, tick_hz: int, begin_s: int = 0) -> EdgeChunk:
    return join(*EdgeCompiler(levels, motion, tick_hz).chunks(Fraction(begin_s)))


@pytest.mark.parametrize("wheel", WHEELS)
def test_steady_ticks_are_those_of_rational_arithmetic(wheel):
    levels = library_levels(wheel)
    for rpm in SPEEDS:
        for tick_hz in CLOCKS:
            motion = Motion([hold(rpm, turns=Fraction(6))])
            expected = rational_ticks(levels, rpm, tick_hz, range(2160 // levels.period))
            assert compiled(levels, motion, tick_hz).ticks.tolist() == expected


@pytest.mark.parametrize("wheel", WHEELS)
def test_steady_ticks_after_a_day_are_those_of_rational_arithmetic(wheel):
    levels = library_levels(wheel)
    for rpm in SPEEDS:
        for tick_hz in CLOCKS:
            motion = Motion([hold(rpm, seconds=Fraction(DAY_S) + 1440 / (6 * rpm))])
            found = compiled(levels, motion, tick_hz, DAY_S).ticks.tolist()
            first = int(DAY_S * 6 * rpm // levels.period)
            cycles = range(first, first + 2 + 1440 // levels.period)
            expected = rational_ticks(levels, rpm, tick_hz, cycles)
            start = expected.index(found[0])
            assert expected[start : start + len(found)] == found
            assert len(found) >= len(levels) * 1440 // levels.period - 1


def test_a_tie_goes_to_the_even_tick():
    levels = library_levels("4-even-cam")
    motion = Motion([hold(Fraction(1000), turns=Fraction(4))])
    for tick_hz in range(1, 400):
        expected = rational_ticks(levels, Fraction(1000), tick_hz, range(2))
        assert compiled(levels, motion, tick_hz).ticks.tolist() == expected


def ramps() -> dict[str, Motion]:
    third = Fraction(1, 3)
    return {
        "from rest": Motion([ramp(Fraction(0), Fraction(300), seconds=third)]),
        "up": Motion([ramp(Fraction(800), Fraction("7000.5"), seconds=Fraction(1))]),
        "to rest": Motion([ramp(Fraction(3000), Fraction(0), rpm_per_s=Fraction(2500))]),
        "slow": Motion([ramp(Fraction(20), Fraction(21), seconds=Fraction(20))]),
        "pieces": Motion(
            [
                ramp(Fraction(0), Fraction(250), seconds=third),
                hold(Fraction(250), turns=Fraction("1.7")),
                ramp(Fraction(250), Fraction(900), turns=Fraction(3)),
                hold(Fraction("900.25"), seconds=Fraction("0.1")),
            ]
        ),
    }


@pytest.mark.parametrize("name", ramps())
@pytest.mark.parametrize("tick_hz", CLOCKS)
def test_ramps_are_within_half_a_tick(name, tick_hz):
    levels = library_levels("60-minus-2-half-moon-cam")
    motion = ramps()[name]
    found = compiled(levels, motion, tick_hz).ticks.tolist()
    assert found
    assert_within_half_a_tick(found, motion, edge_angles(levels, len(found)), tick_hz)


@pytest.mark.parametrize("tick_hz", CLOCKS)
def test_a_ramp_after_a_day_is_within_half_a_tick(tick_hz):
    levels = library_levels("60-minus-2-half-moon-cam")
    motion = Motion(
        [
            hold(Fraction("3000.7"), seconds=Fraction(DAY_S)),
            ramp(Fraction("3000.7"), Fraction(900), seconds=Fraction(1)),
        ]
    )
    found = compiled(levels, motion, tick_hz, DAY_S).ticks.tolist()
    first = int(
        np.searchsorted(day_angles(levels), float(motion.at(Fraction(DAY_S)).angle_deg % 720))
    )
    whole = int(motion.at(Fraction(DAY_S)).angle_deg // 720)
    angles = edge_angles(levels, first + len(found), whole)[first:]
    assert_within_half_a_tick(found, motion, angles, tick_hz)


@pytest.mark.parametrize("per_turn", [Fraction(1, 2), Fraction(2), Fraction(3)])
def test_ripple_is_within_half_a_tick(per_turn):
    levels = library_levels("60-minus-2-half-moon-cam")
    depth, at = Fraction(3, 10), Fraction(84)
    ripple = CompressionRipple(depth, per_turn, at)
    motion = Motion(
        [
            hold(Fraction(200), turns=Fraction(1), ripple=ripple),
            ramp(Fraction(200), Fraction(900), turns=Fraction(1), ripple=ripple),
        ]
    )
    every = slice(None, None, EVERY_RIPPLED)
    angles = [
        rippled_mean_angle(angle, precise(depth), precise(per_turn), precise(at))
        for angle in edge_angles(levels, len(levels))[every]
    ]
    for tick_hz in CLOCKS:
        found = compiled(levels, motion, tick_hz).ticks.tolist()
        assert_within_half_a_tick(found[every], motion, angles, tick_hz)


GAS = gas_ripple(four(), Fraction(200))
WEAK = gas_ripple(four(losses=((3, Fraction("0.4")),)), Fraction(180))


@pytest.mark.parametrize("ripple", [GAS, WEAK], ids=["sound", "weak"])
@pytest.mark.parametrize("tick_hz", CLOCKS)
def test_ripple_from_gas_forces_is_within_half_a_tick(ripple, tick_hz):
    levels = library_levels("60-minus-2-half-moon-cam")
    motion = Motion(
        [
            hold(Fraction("200.3"), turns=Fraction(3), ripple=ripple),
            ramp(Fraction("200.3"), Fraction(900), turns=Fraction(2), ripple=ripple),
        ]
    )
    assert_rippled(levels, motion, compiled(levels, motion, tick_hz), ripple, tick_hz)


@pytest.mark.parametrize("tick_hz", CLOCKS)
def test_ripple_from_gas_forces_after_a_day_is_within_half_a_tick(tick_hz):
    levels = library_levels("60-minus-2-half-moon-cam")
    motion = Motion([hold(Fraction("203.7"), seconds=Fraction(DAY_S + 2), ripple=WEAK)])
    found = compiled(levels, motion, tick_hz, DAY_S)
    assert_rippled(levels, motion, found, WEAK, tick_hz, DAY_S)


@pytest.mark.parametrize("wheel", WHEELS)
def test_every_wheel_under_gas_forces_is_within_half_a_tick(wheel):
    levels = replace(library_levels(wheel), pulses=())
    motion = Motion([hold(Fraction(190), turns=Fraction(4), ripple=WEAK)])
    found = compiled(levels, motion, 125_000_000)
    assert_rippled(levels, motion, found, WEAK, 125_000_000, every=1 + len(levels) // 8)


def assert_rippled(
    levels: LevelTable,
    motion: Motion,
    table: EdgeChunk,
    ripple: SeriesRipple,
    tick_hz: int,
    begin_s: int = 0,
    every: int = EVERY_RIPPLED,
) -> None:
    """The table's edges against the ripple's series, summed to 50 digits."""
    place = motion.at(Fraction(begin_s)).angle_deg
    whole, rest = divmod(Fraction(round(place * 10**9), 10**9), levels.period)
    first = sum(angle < rest for angle in levels.angles)
    angles = edge_angles(levels, first + len(table), int(whole))[first:][::every]
    begin = precise_mean_angle(mpf(0), ripple)
    means = [precise_mean_angle(angle, ripple) - begin for angle in angles]
    assert_within_half_a_tick(table.ticks.tolist()[::every], motion, means, tick_hz)


def edge_angles(levels: LevelTable, count: int, first_cycle: int = 0) -> list[mpf]:
    n = len(levels)
    return [
        precise(levels.angles[edge % n] + levels.period * (first_cycle + edge // n))
        for edge in range(count)
    ]


def day_angles(levels: LevelTable) -> list[float]:
    return [float(angle) for angle in levels.angles]


def assert_within_half_a_tick(found, motion, mean_angles, tick_hz) -> None:
    for tick, seconds in zip(found, precise_times(motion, mean_angles), strict=True):
        assert abs(tick - seconds * tick_hz) <= 0.5 + 1e-6
