"""The ideal time of every edge by slow, independent arithmetic: what the fast code is held against.

Rational numbers where the motion allows it; else 50 digits, with the ripple integrated numerically
from its speed law instead of by the closed form that the package uses.
"""

from collections.abc import Iterator
from fractions import Fraction

from mpmath import mp, mpf

from edgewheel.edges.levels import LevelTable
from edgewheel.motion.motion import Motion

mp.dps = 50


def rational_ticks(levels: LevelTable, rpm: Fraction, tick_hz: int, cycles: range) -> list[int]:
    """Ticks at constant speed from angle 0, rounded half to even by Python's own fractions.

    A direction sensor's pulse ends its width, in whole ticks, after the tick at which it begins.
    """
    ticks_per_degree = Fraction(tick_hz) / (6 * rpm)
    widths = {pulse.track: round(pulse.forward_s * tick_hz) for pulse in levels.pulses}
    ticks = []
    for cycle in cycles:
        for angle, track in zip(levels.angles, levels.track, strict=True):
            begin = round((cycle * levels.period + angle) * ticks_per_degree)
            ticks += [begin, begin + widths[track]] if track in widths else [begin]
    return sorted(ticks)


def precise(value: Fraction) -> mpf:
    return mpf(value.numerator) / value.denominator


def rippled_mean_angle(angle: mpf, depth: mpf, per_turn: mpf, slowest_at: mpf) -> mpf:
    """Mean angle that belongs to an angle: the integral of mean speed over speed, from angle 0."""

    def slowness(theta: mpf) -> mpf:
        psi = mp.radians(per_turn * (theta - slowest_at))
        return mp.sqrt(1 - depth**2) / (1 - depth * mp.cos(psi))

    whole, rest = divmod(angle, 360 / per_turn)
    return whole * 360 / per_turn + mp.quad(slowness, mp.linspace(0, rest, 5))


def precise_times(motion: Motion, mean_angles: list[mpf]) -> Iterator[mpf]:
    """Seconds at which a forward motion under one ripple reaches each mean angle, ascending."""
    index = 0
    for angle in mean_angles:
        while motion[index].end_mean_deg - motion[0].begin_mean_deg <= angle:
            index += 1
        placed = motion[index]
        turned = angle - precise(placed.begin_mean_deg - motion[0].begin_mean_deg)
        speed = precise(placed.segment.rpm_begin) * 6
        rate = precise(placed.segment.rpm_per_s) * 6
        root = mp.sqrt(speed**2 + 2 * rate * turned)
        seconds = 2 * turned / (speed + root) if speed + root else mpf(0)
        yield precise(placed.begin_s) + seconds
