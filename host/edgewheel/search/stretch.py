"""A stretch of a plan: the same motion and the same changes, from one time to another only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from edgewheel.bench.plan import Plan
from edgewheel.fault.flips import BEFORE_US, Flip, Flips
from edgewheel.fault.model import US_PER_S
from edgewheel.fault.signal import sound_signal
from edgewheel.motion.motion import Motion, true_angle
from edgewheel.motion.segment import Segment

GRAIN_S = Fraction(1, 100)
"""Stretches begin and end at multiples of this."""

CYCLE_DEG = 720
MICRODEG = 1_000_000
CAUSE = "cause"


@dataclass(frozen=True)
class Stretch:
    """From `begin_s` to `end_s` of a motion."""

    begin_s: Fraction
    end_s: Fraction

    @property
    def seconds(self) -> Fraction:
        return self.end_s - self.begin_s


def stretch_plan(plan: Plan, stretch: Stretch, flips: Sequence[Flip]) -> Plan:
    """The plan in which the sound wheel, with these flips only, turns through the stretch."""
    sound = sound_signal(plan.signal)
    inside = moved_flips(flips, stretch)
    faults = {CAUSE: Flips(inside)} if inside else {}
    signal = replace(sound, motion=trimmed(sound.motion, stretch), faults=faults)
    return replace(plan, signal=signal, sweep=None)


def moved_flips(flips: Sequence[Flip], stretch: Stretch) -> tuple[Flip, ...]:
    """The flips within a stretch, in its own time."""
    begin_us, end_us = stretch.begin_s * US_PER_S, stretch.end_s * US_PER_S
    return tuple(
        Flip(
            flip.track,
            flip.from_us - begin_us if flip.from_us >= begin_us else BEFORE_US,
            min(flip.to_us, end_us + 1) - begin_us,
        )
        for flip in flips
        if flip.to_us > begin_us and flip.from_us < end_us
    )


def trimmed(motion: Motion, stretch: Stretch) -> Motion:
    """The motion within a stretch, the crank beginning where it would be by then.

    Under a ripple that angle is rounded to a millionth of a degree, so that it can be written. Cams
    that are timed keep the time of the whole motion, so such a stretch must begin where that does.
    """
    if stretch.begin_s == 0:
        return Motion(_segments(motion, stretch), motion.start_deg, motion.cams)
    assert not motion.cams
    placed = motion[motion.index_at(stretch.begin_s)]
    mean_deg = placed.begin_mean_deg + placed.segment.mean_deg_at(stretch.begin_s - placed.begin_s)
    angle = true_angle(mean_deg, placed.segment.ripple) % CYCLE_DEG
    if placed.segment.ripple is not None:
        angle = Fraction(round(angle * MICRODEG), MICRODEG) % CYCLE_DEG
    return Motion(_segments(motion, stretch), angle)


def _segments(motion: Motion, stretch: Stretch) -> list[Segment]:
    segments = []
    for index in range(len(motion)):
        placed = motion[index]
        begin = max(placed.begin_s, stretch.begin_s) - placed.begin_s
        end = min(placed.end_s, stretch.end_s) - placed.begin_s
        if begin < end:
            whole = placed.segment
            first, last = (whole.rpm_begin + whole.rpm_per_s * at for at in (begin, end))
            segments.append(replace(whole, seconds=end - begin, rpm_begin=first, rpm_end=last))
    return segments
