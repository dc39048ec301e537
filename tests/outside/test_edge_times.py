"""Edge times against signals and solvers that nobody here wrote."""

import io
from fractions import Fraction

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.signal import chirp, square
from vcdvcd import VCDVCD

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.export import write_csv, write_vcd
from edgewheel.edges.levels import LevelTable, wheel_levels
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import find
from edgewheel.wheel.model import Sensor, Tooth, Track, Wheel

TICK_HZ = 1_000_000


def even(teeth: int) -> LevelTable:
    """An evenly toothed wheel, tooth and space alike, the first tooth beginning at angle 0."""
    pitch = Fraction(360, teeth)
    metal = tuple(Tooth(k * pitch, k * pitch + pitch / 2) for k in range(teeth))
    return wheel_levels(Wheel("even", "", 360, (Track("crank", "crank", Sensor(), metal),)))


def compiled(levels: LevelTable, motion: Motion, tick_hz: int = TICK_HZ) -> EdgeChunk:
    return join(*EdgeCompiler(levels, motion, tick_hz).chunks())


def test_an_even_wheel_at_constant_speed_is_a_square_wave():
    """Frequency N rpm / 60 (common practice, no source), sampled by scipy.signal.square."""
    teeth, rpm, sample_hz = 12, 1000, 4_000_000
    table = compiled(even(teeth), Motion([hold(Fraction(rpm), turns=Fraction(3))]))
    time_s = (np.arange(int(0.18 * sample_hz)) + 0.5) / sample_hz
    sampled = square(2 * np.pi * teeth * rpm / 60 * time_s) > 0
    changes = np.flatnonzero(np.diff(sampled)) + 1
    assert len(table) == len(changes) + 1
    np.testing.assert_allclose(table.ticks[1:] / TICK_HZ, changes / sample_hz, atol=1.1e-6)
    assert table.level[1:].tolist() == sampled[changes].astype(int).tolist()


def test_a_ramp_is_a_linear_chirp():
    """Phase 2 pi (f0 t + k t^2 / 2), zero crossings of scipy.signal.chirp."""
    teeth, low, high, seconds, sample_hz = 36, 600, 3000, 1.0, 8_000_000
    table = compiled(
        even(teeth), Motion([ramp(Fraction(low), Fraction(high), seconds=Fraction(1))])
    )
    time_s = np.arange(int(seconds * sample_hz)) / sample_hz
    wave = chirp(time_s, teeth * low / 60, seconds, teeth * high / 60, phi=-90)
    crossings = np.flatnonzero(np.diff(wave[1:] > 0)) + 2
    edges = table.ticks[1:]
    np.testing.assert_allclose(edges / TICK_HZ, crossings[: len(edges)] / sample_hz, atol=1.1e-6)


@pytest.mark.parametrize("end_rpm", [300, 900])
def test_ripple_agrees_with_an_ode_solver(end_rpm):
    """scipy.integrate.solve_ivp (DOP853) finds each edge as an event of d(theta)/dt."""
    levels = wheel_levels(find("36-minus-1"))
    depth, per_turn, at = 0.3, 2, 100
    ripple = CompressionRipple(Fraction("0.3"), Fraction(per_turn), Fraction(at))
    motion = Motion([ramp(Fraction(300), Fraction(end_rpm), seconds=Fraction(1), ripple=ripple)])

    def speed(time_s: float, theta: np.ndarray) -> np.ndarray:
        mean = 6 * (300 + (end_rpm - 300) * time_s)
        psi = np.radians(per_turn * (theta - at))
        return mean * (1 - depth * np.cos(psi)) / np.sqrt(1 - depth**2)

    table = compiled(levels, motion, 125_000_000)
    some = range(1, len(table), 23)
    targets = [
        float(levels.angles[i % len(levels)] + levels.period * (i // len(levels))) for i in some
    ]

    def event(target: float):
        return lambda _, theta: theta[0] - target

    solution = solve_ivp(
        speed, (0, 1), [0.0], "DOP853", events=[event(t) for t in targets], rtol=1e-12, atol=1e-12
    )
    solved = np.array([times[0] for times in solution.t_events])
    np.testing.assert_allclose(table.ticks[list(some)] / 125e6, solved, rtol=0, atol=2e-8)


def test_ripple_leaves_the_mean_speed_alone():
    """Arithmetic: at 60 rpm a turn takes a second, however the speed swings within it."""
    ripple = CompressionRipple(Fraction("0.4"), Fraction(2), Fraction(33))
    motion = Motion([hold(Fraction(60), turns=Fraction(3), ripple=ripple)])
    table = compiled(even(12), motion, TICK_HZ)
    np.testing.assert_array_equal(np.diff(table.ticks[::24]), TICK_HZ)


def test_sixty_minus_two_at_n_rpm_has_a_tooth_frequency_of_n_hertz():
    """1 rpm = 6 degrees a second, 60 places of 6 degrees: common practice, no source."""
    levels = wheel_levels(find("60-minus-2-half-moon-cam"))
    table = compiled(levels, Motion([hold(Fraction(1000), turns=Fraction(1))]))
    rises = table.ticks[(table.track == 0) & (table.level == 1)]
    assert len(rises) == 58
    assert set(np.diff(rises).tolist()) == {1000}


@pytest.mark.parametrize("tick_hz", [16_000_000, 125_000_000, 3_000_000])
def test_an_independent_parser_reads_the_vcd(tick_hz):
    """IEEE 1364-2005 clause 18, read back by the PyPI package vcdvcd."""
    levels = wheel_levels(find("60-minus-2-half-moon-cam"))
    compiler = EdgeCompiler(levels, Motion([hold(Fraction(777), turns=Fraction(2))]), tick_hz)
    file = io.StringIO()
    write_vcd(file, compiler.header(), compiler.chunks())
    parsed = VCDVCD(vcd_string=file.getvalue())
    table = join(*compiler.chunks())
    unit_s = float(parsed.timescale["timescale"])
    for number, track in enumerate(levels.tracks):
        changes = parsed[f"pins.{track}"].tv
        own = table.track == number
        expected = list(zip(table.ticks[own].tolist(), table.level[own].tolist(), strict=True))
        found = [(round(time * unit_s * tick_hz), int(value)) for time, value in changes]
        # The value at time 0 stands for the level there, edge or not.
        assert [row for row in found if row[0]] == [row for row in expected if row[0]]
        assert found[0][1] == (expected[0][1] if expected[0][0] == 0 else levels.initial[number])


def test_a_csv_reader_reads_the_csv():
    """RFC 4180 text, read back by numpy.loadtxt."""
    levels = wheel_levels(find("36-minus-1"))
    compiler = EdgeCompiler(levels, Motion([hold(Fraction(777), turns=Fraction(2))]), TICK_HZ)
    file = io.StringIO()
    count = write_csv(file, compiler.header(), compiler.chunks())
    file.seek(0)
    rows = np.loadtxt(file, dtype=str, delimiter=",", skiprows=1)
    table = join(*compiler.chunks())
    assert count == len(rows) == len(table)
    assert rows[:, 0].astype(int).tolist() == table.ticks.tolist()
    assert rows[:, 1].tolist() == [levels.tracks[track] for track in table.track]
    assert rows[:, 2].astype(int).tolist() == table.level.tolist()
