"""The ideal time of every edge by slow, independent arithmetic: what the fast code is held against.

Rational numbers where the motion allows it; else 50 digits, with the ripple integrated numerically
from its speed law instead of by the closed form that the package uses.
"""

from collections.abc import Iterator
from fractions import Fraction

from mpmath import mp, mpf

from edgewheel.edges.levels import LevelTable
from edgewheel.motion.cam import CamTiming
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple, Ripple
from edgewheel.motion.series import SeriesRipple

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


def precise_mean_angle(angle: mpf, ripple: Ripple | None) -> mpf:
    """Mean angle that belongs to an angle, up to a constant of the ripple."""
    if isinstance(ripple, SeriesRipple):
        return angle + series_lead(angle, ripple)
    if isinstance(ripple, CompressionRipple):
        shape = (ripple.depth, ripple.per_turn, ripple.slowest_at_deg)
        return rippled_mean_angle(angle, *(precise(one) for one in shape))
    return angle


def series_lead(angle: mpf, ripple: SeriesRipple) -> mpf:
    """The integral of the series' slowness less 1, term by term."""
    per_radian = precise(ripple.period_deg) / (2 * mp.pi)
    psi = angle / per_radian
    pairs = enumerate(zip(ripple.cosines, ripple.sines, strict=True), 1)
    turned = ((k, a, b, mp.cos_sin(k * psi)) for k, (a, b) in pairs)
    terms = ((mpf(a) * sine - mpf(b) * cosine) / k for k, a, b, (cosine, sine) in turned)
    return per_radian * mp.fsum(terms)


def cam_edge_time(motion: Motion, timing: CamTiming, angle: mpf, near_s: mpf) -> mpf:
    """Seconds at which crank angle plus advance reaches an angle, by the secant method.

    The crank's own place in time is told by the mean angle that the segment near `near_s` states;
    the advance is interpolated between the knots beside it.
    """
    moment = Fraction(int(near_s * 10**12), 10**12)
    placed = motion[motion.index_at(moment)]
    segment, begin = placed.segment, precise(placed.begin_s)
    knot = timing.last_knot_s(moment)
    base = moment if knot is None else knot
    after = timing.next_knot_s(base)
    first = precise(timing.advance_deg(base))
    pace = mpf(0)
    if after is not None:
        pace = (precise(timing.advance_deg(after)) - first) / precise(after - base)
    crank = precise(motion.at(placed.begin_s).angle_deg)
    origin = precise_mean_angle(crank, segment.ripple)
    speed, rate = precise(segment.rpm_begin) * 6, precise(segment.rpm_per_s) * 6

    def excess(seconds: mpf) -> mpf:
        advance = first + pace * (seconds - precise(base))
        turned = precise_mean_angle(angle - advance, segment.ripple) - origin
        within = seconds - begin
        return speed * within + rate * within**2 / 2 - turned

    return mp.findroot(excess, (near_s, near_s + mpf("1e-7")))
