"""Where two signals differ: what faults did, whatever they were, as flips of the sound signal."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

import numpy as np

from edgewheel.edges.table import EdgeChunk, EdgeHeader, join
from edgewheel.fault.flips import BEFORE_US, Flip
from edgewheel.fault.model import US_PER_S
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.signal import SignalPlan, sound_signal


def flips_of(plan: SignalPlan, tick_hz: int) -> tuple[Flip, ...]:
    """All that the faults of a plan change, in the order of time; the motion is the faulty one."""
    sound = Pipeline(sound_signal(plan), tick_hz)
    faulty = Pipeline(plan, tick_hz)
    end_us = plan.motion.end_s * US_PER_S
    return flips_between(sound.header, sound.edges(), faulty.header, faulty.edges(), end_us)


def flips_between(
    header: EdgeHeader,
    chunks: Iterable[EdgeChunk],
    other_header: EdgeHeader,
    other_chunks: Iterable[EdgeChunk],
    end_us: Fraction,
) -> tuple[Flip, ...]:
    """The flips that make the second table of the first, both of the same tracks and clock.

    A difference that lasts to the end gets an end just behind `end_us` or the last edge.
    """
    one, other = join(*chunks), join(*other_chunks)
    us = Fraction(US_PER_S, header.tick_hz)
    flips = []
    for number, track in enumerate(header.tracks):
        borders = np.setxor1d(
            one.ticks[one.track == number], other.ticks[other.track == number]
        ).tolist()
        times = [tick * us for tick in borders]
        if header.initial[number] != other_header.initial[number]:
            times.insert(0, BEFORE_US)
        if len(times) % 2:
            times.append(max(end_us, times[-1]) + 1)
        flips += [Flip(track, *pair) for pair in zip(times[::2], times[1::2], strict=True)]
    return tuple(sorted(flips, key=lambda flip: (flip.from_us, flip.track)))
