"""The motion of a live run: held at a speed for as long as nobody wants another."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from edgewheel.fault.window import seconds_to
from edgewheel.motion.manoeuvres import RippleSource, under_ripple
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import Segment, hold, ramp

ENDLESS_S = Fraction(1_000_000)
"""How long a speed is held if no order comes: more than eleven days."""

STANDSTILL_S = Fraction(60)
"""So long what comes without the wheel's help, such as noise, goes on at standstill."""

SPEED_STEPS_PER_RPM = 1_000_000
"""A speed taken amid a ramp is rounded to these, so that fractions stay short all day."""


@dataclass(frozen=True)
class SpeedWish:
    """A speed to be at, at once or by a ramp of `rpm_per_s` (> 0)."""

    rpm: Fraction
    rpm_per_s: Fraction | None = None


def begun(start: Motion, rpm: Fraction, ripple: RippleSource) -> Motion:
    """A motion that turns at a speed from the first moment, from where `start` begins.

    Raises UsageError where an engine does not turn so slowly.
    """
    return _with(Motion((), start.start_deg, start.cams), [_held(rpm)], ripple)


def changed(motion: Motion, at_s: Fraction, wish: SpeedWish, ripple: RippleSource) -> Motion:
    """The motion with a new course from a time on. Raises UsageError as `begun` does."""
    cut = motion.until(at_s)
    if cut.end_s < at_s:
        last = cut[len(cut) - 1].segment
        cut.append(replace(last, seconds=at_s - cut.end_s, rpm_begin=last.rpm_end))
    rate, here = wish.rpm_per_s, rpm_at(motion, at_s)
    way = [ramp(here, wish.rpm, rpm_per_s=rate)] if rate and here != wish.rpm else []
    return _with(cut, [*way, _held(wish.rpm)], ripple)


def rpm_at(motion: Motion, at_s: Fraction) -> Fraction:
    """Mean speed at a time of the motion, to the next millionth."""
    placed = motion[motion.index_at(at_s)]
    rpm = placed.segment.rpm_at(at_s - placed.begin_s)
    return Fraction(round(rpm * SPEED_STEPS_PER_RPM), SPEED_STEPS_PER_RPM)


def mean_deg_at(motion: Motion, at_s: Fraction) -> Fraction:
    """Mean angle at a time of the motion."""
    placed = motion[motion.index_at(at_s)]
    return placed.begin_mean_deg + placed.segment.mean_deg_at(at_s - placed.begin_s)


def seconds_after(motion: Motion, at_s: Fraction, degrees: Fraction) -> Fraction:
    """When the crank will have turned so many mean degrees more; the end if it never will."""
    index, left = motion.index_at(at_s), degrees
    placed = motion[index]
    left += abs(placed.segment.mean_deg_at(at_s - placed.begin_s))
    while left > abs(placed.segment.mean_deg):
        left -= abs(placed.segment.mean_deg)
        index += 1
        if index == len(motion):
            return motion.end_s
        placed = motion[index]
    return placed.begin_s + seconds_to(placed, left)


def seconds_before(
    motion: Motion, at_s: Fraction, degrees: Fraction, most_s: Fraction, tick_hz: int
) -> Fraction:
    """A whole tick from which the crank turned so many mean degrees or less, at most `most_s`."""
    here = mean_deg_at(motion, at_s)
    end = round(at_s * tick_hz)
    low, high = max(end - round(most_s * tick_hz), 0), end
    while high - low > 1:
        middle = (low + high) // 2
        if here - mean_deg_at(motion, Fraction(middle, tick_hz)) > degrees:
            low = middle
        else:
            high = middle
    return Fraction(low, tick_hz)


def _held(rpm: Fraction) -> Segment:
    return hold(rpm, seconds=ENDLESS_S if rpm else STANDSTILL_S)


def _with(motion: Motion, segments: list[Segment], ripple: RippleSource) -> Motion:
    for segment in segments:
        for piece in under_ripple(segment, ripple):
            motion.append(piece)
    return motion
