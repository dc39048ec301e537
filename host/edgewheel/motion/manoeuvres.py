"""What engines do, as segments: run down by friction, rock on the last compression, turn by gas."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from edgewheel.errors import UsageError
from edgewheel.motion.engine import Engine
from edgewheel.motion.gas import gas_ripple, least_rpm
from edgewheel.motion.ripple import Ripple
from edgewheel.motion.segment import DEG_PER_S_PER_RPM, Segment

RUN_DOWN_STEPS = 64
"""Pieces of a run-down, each over the same change of speed."""

NS_PER_S = 10**9
BAND = Fraction(9, 8)
"""Speeds up to this factor apart share a ripple of gas forces."""


@dataclass(frozen=True)
class GasRipple:
    """The ripple of an engine at whatever mean speed it has, or always at `fixed_rpm`."""

    engine: Engine
    fixed_rpm: Fraction | None = None


RippleSource = Ripple | GasRipple | None


def under_ripple(segment: Segment, source: RippleSource) -> list[Segment]:
    """The same motion under a ripple; one of gas forces changes with speed, from piece to piece.

    A ramp is cut where speed has changed by an eighth, each piece under the ripple of its middle
    speed. Below the speed at which the engine would stop within a cycle, a ramp keeps the ripple of
    that speed, for a starter pulls it through; a hold there raises UsageError.
    """
    if not isinstance(source, GasRipple):
        return [replace(segment, ripple=source)]
    if source.fixed_rpm is not None:
        return [replace(segment, ripple=gas_ripple(source.engine, source.fixed_rpm))]
    if segment.rpm_begin == segment.rpm_end:
        rpm = abs(segment.rpm_begin)
        return [replace(segment, ripple=gas_ripple(source.engine, rpm) if rpm else None)]
    least = Fraction(math.ceil(least_rpm(source.engine)))
    return [
        replace(piece, ripple=gas_ripple(source.engine, middle))
        for piece, middle in _bands(segment, least)
    ]


def run_down(rpm: Fraction, friction_rpm_per_s: Fraction, drag_per_s: Fraction) -> list[Segment]:
    """From a speed (either way) to standstill: d(rpm)/dt = -(friction + drag rpm).

    Friction is dry, drag grows with speed (oil, pumps, a fan). Without drag it is a ramp. With it
    speed is linear between 64 points on t = ln((f + d n0) / (f + d n)) / d, times to the
    nanosecond. Raises UsageError at standstill.
    """
    if rpm == 0:
        raise UsageError("The engine is at rest and cannot run down. Put a hold or a ramp before.")
    if drag_per_s == 0:
        return [Segment(abs(rpm) / friction_rpm_per_s, rpm, Fraction(0))]
    speeds = [rpm * step / RUN_DOWN_STEPS for step in range(RUN_DOWN_STEPS, -1, -1)]
    share = float(drag_per_s / friction_rpm_per_s)
    times_s = [
        (math.log1p(share * float(abs(rpm))) - math.log1p(share * float(abs(speed))))
        / float(drag_per_s)
        for speed in speeds
    ]
    exact_s = [Fraction(round(seconds * NS_PER_S), NS_PER_S) for seconds in times_s]
    points = zip(pairwise(exact_s), pairwise(speeds), strict=True)
    return [
        Segment(end_s - begin_s, begin, end)
        for (begin_s, end_s), (begin, end) in points
        if end_s > begin_s
    ]


def rock(degrees: Fraction, seconds: Fraction, swings: int, keeps: Fraction) -> list[Segment]:
    """From standstill back by `degrees` in `seconds`, then forth, back and so on.

    Each swing takes as long and goes `keeps` times as far as the one before: the free swing of a
    crank on the air that the last compression caught. Speed rises evenly to the middle of a swing
    and falls evenly after it.
    """
    segments = []
    way = -degrees
    for _ in range(swings):
        peak_rpm = 2 * way / (seconds * DEG_PER_S_PER_RPM)
        segments.append(Segment(seconds / 2, Fraction(0), peak_rpm))
        segments.append(Segment(seconds / 2, peak_rpm, Fraction(0)))
        way *= -keeps
    return segments


def _bands(segment: Segment, least: Fraction) -> Iterator[tuple[Segment, Fraction]]:
    """A ramp's pieces, and for each the speed whose ripple it has."""
    slow, fast = sorted((abs(segment.rpm_begin), abs(segment.rpm_end)))
    rising = abs(segment.rpm_end) > abs(segment.rpm_begin)
    pieces = list(_bands_between(slow, fast, least))
    for low, high, middle in pieces if rising else reversed(pieces):
        begin, end = (low, high) if rising else (high, low)
        seconds = (high - low) / abs(segment.rpm_per_s)
        sign = segment.direction
        yield Segment(seconds, sign * begin, sign * end), middle


def _bands_between(
    slow: Fraction, fast: Fraction, least: Fraction
) -> Iterator[tuple[Fraction, Fraction, Fraction]]:
    """(from, to, middle of the whole band) of every band that speeds from slow to fast touch.

    The bands do not depend on the two, so ripples once computed serve again; their ends are whole
    numbers, so fractions stay short.
    """
    lower, upper = Fraction(0), least
    while lower < fast:
        if upper > slow:
            middle = (lower + upper) / 2 if lower else least
            yield max(lower, slow), min(upper, fast), middle
        lower, upper = upper, Fraction(math.ceil(upper * BAND))
