"""Compression ripple and slider-crank against textbook formulas and a general ODE solver."""

import math
from fractions import Fraction

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import wheel_levels
from edgewheel.edges.table import join
from edgewheel.motion.engine import Cylinder, Engine
from edgewheel.motion.gas import gas_ripple
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold
from edgewheel.wheel.library import find

BORE, STROKE, ROD, RATIO, AIR, EXPONENT, INERTIA = 0.086, 0.086, 0.143, 10.0, 101325.0, 1.3, 0.6
TDC_DEG = {1: 84, 3: 264, 4: 444, 2: 624}
FIRING = tuple((cylinder, Fraction(angle)) for cylinder, angle in TDC_DEG.items())
CYLINDER = Cylinder(Fraction(86), Fraction(86), Fraction(143), Fraction(10))


def piston_m(theta: float) -> float:
    """s = a cos(theta) + sqrt(l^2 - a^2 sin^2(theta)): Heywood, Internal Combustion Engine
    Fundamentals, eq. 2.5, written out again here.
    """
    crank = STROKE / 2
    return crank * math.cos(theta) + math.sqrt(ROD**2 - (crank * math.sin(theta)) ** 2)


def gas_torque(crank_deg: float, losses: dict[int, float]) -> float:
    """Torque from p V^1.3 = const (Heywood, chapter 9), dV/d(theta) by central differences: a
    second way to what the package has in closed form.
    """
    area = math.pi / 4 * BORE**2
    largest = area * STROKE * RATIO / (RATIO - 1)

    def volume(theta: float) -> float:
        return largest / RATIO + area * (ROD + STROKE / 2 - piston_m(theta))

    total = 0.0
    for cylinder, tdc in TDC_DEG.items():
        after = (crank_deg - tdc + 360) % 720 - 360
        if abs(after) < 180:
            theta, step = math.radians(after), 1e-5
            gauge = AIR * ((largest / volume(theta)) ** EXPONENT - 1)
            slope = (volume(theta + step) - volume(theta - step)) / (2 * step)
            total += (1 - losses.get(cylinder, 0)) * gauge * slope
    return total


@pytest.mark.parametrize("degrees", range(-180, 181, 15))
def test_piston_position_is_the_published_formula(degrees):
    """Heywood eq. 2.5."""
    assert CYLINDER.piston_mm(degrees) == pytest.approx(1000 * piston_m(math.radians(degrees)))


def test_piston_position_agrees_with_the_law_of_cosines():
    """Geometry: throw a, rod l, distance s make a triangle: l^2 = a^2 + s^2 - 2 a s cos(theta)."""
    for degrees in range(0, 360, 7):
        s = CYLINDER.piston_mm(degrees)
        squared = 43**2 + s**2 - 2 * 43 * s * math.cos(math.radians(degrees))
        assert squared == pytest.approx(143**2)


def test_the_pressure_at_the_end_of_compression_is_the_compression_ratio_to_the_exponent():
    """p2 / p1 = r^n for a polytropic process: any thermodynamics text. From the torque a hair after
    TDC, where V is still the clearance volume.
    """
    engine = Engine(CYLINDER, ((1, Fraction(0)),), Fraction(1))
    after, step = 0.1, 1e-3
    slope = CYLINDER.volume_m3(after + step) - CYLINDER.volume_m3(after - step)
    gauge = engine.torque_nm(after) / (slope / math.radians(2 * step))
    assert gauge / AIR + 1 == pytest.approx(10**1.3, rel=1e-4)


def test_work_is_the_integral_of_pressure_over_volume():
    """scipy.integrate.quad of the torque over the compression stroke."""
    engine = Engine(CYLINDER, ((1, Fraction(0)),), Fraction(1))
    work, _ = quad(lambda theta: engine.torque_nm(math.degrees(theta)), -math.pi, 0, epsabs=1e-10)
    assert engine.work_j(0) == pytest.approx(work, rel=1e-9)


@pytest.mark.parametrize(
    ("rpm", "losses"), [(150, {}), (250, {}), (250, {3: 0.4}), (1200, {3: 1.0})]
)
def test_ripple_from_gas_forces_agrees_with_an_ode_solver(rpm, losses):
    """J d(omega)/dt = gas torque by scipy.integrate.solve_ivp (DOP853), from the one start speed
    that takes a cycle in two turns at the mean speed; speeds agree within 0.01 %.
    """
    cycle_s = 120 / rpm

    def motion(_, state):
        return [state[1], gas_torque(math.degrees(state[0]), losses) / INERTIA]

    def cycle(omega):
        return solve_ivp(
            motion,
            (0, cycle_s),
            [0.0, omega],
            "DOP853",
            rtol=1e-8,
            atol=1e-8,
            dense_output=True,
            max_step=cycle_s / 150,
        )

    def missing(omega):
        return cycle(omega).y[0, -1] - 4 * math.pi

    mean = rpm * math.pi / 30
    omega = brentq(missing, mean, 1.6 * mean, xtol=1e-7 * mean)
    solution = cycle(omega)
    engine = Engine(
        CYLINDER,
        FIRING,
        Fraction("0.6"),
        losses=tuple((one, Fraction(str(loss))) for one, loss in losses.items()),
    )
    ripple = gas_ripple(engine, Fraction(rpm))
    angles, speeds = solution.sol(np.linspace(0, cycle_s, 500))
    ours = [mean * ripple.speed_ratio(Fraction(math.degrees(angle))) for angle in angles]
    np.testing.assert_allclose(ours, speeds, rtol=1e-4)


def test_edges_under_gas_forces_agree_with_the_ode_solver():
    """The whole way from wheel to ticks: a 36-1 wheel cranked at 180 rpm, each edge an event of
    scipy.integrate.solve_ivp.
    """
    levels = wheel_levels(find("36-minus-1"))
    ripple = gas_ripple(Engine(CYLINDER, FIRING, Fraction("0.6")), Fraction(180))
    cranking = Motion([hold(Fraction(180), turns=Fraction(2), ripple=ripple)])
    table = join(*EdgeCompiler(levels, cranking, 1_000_000).chunks())
    mean = 180 * math.pi / 30
    begin = mean * ripple.speed_ratio(Fraction(0))
    targets = [math.radians(float(levels.angles[n])) for n in range(1, len(levels), 5)]

    def motion(_, state):
        return [state[1], gas_torque(math.degrees(state[0]), {}) / INERTIA]

    def event(target):
        return lambda _, state: state[0] - target

    events = [event(target) for target in targets]
    solution = solve_ivp(
        motion,
        (0, 120 / 180),
        [0.0, begin],
        "DOP853",
        events=events,
        rtol=1e-9,
        atol=1e-9,
        max_step=1e-3,
    )
    solved = [times[0] for times in solution.t_events]
    ours = table.ticks[1 : len(levels) : 5] / 1e6
    np.testing.assert_allclose(ours, solved, rtol=1e-4, atol=1e-6)


def test_compression_slows_a_four_stroke_at_half_the_cylinders_a_turn():
    """Common practice, no source: four cylinders give two slow places a turn, 180 degrees apart."""
    ripple = gas_ripple(Engine(CYLINDER, FIRING, Fraction("0.6")), Fraction(250))
    ratios = np.array([ripple.speed_ratio(Fraction(n)) for n in range(720)])
    slow = np.flatnonzero((ratios < np.roll(ratios, 1)) & (ratios <= np.roll(ratios, -1)))
    assert slow.tolist() == [84, 264, 444, 624]
