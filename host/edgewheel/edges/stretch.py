"""A stretch: a time in which a group of tracks turns one way under one law."""

from __future__ import annotations

from fractions import Fraction
from functools import cached_property
from typing import Protocol

import numpy as np

from edgewheel.edges.phase import Floats, PhaseTable, PhaseTables
from edgewheel.edges.table import Ticks
from edgewheel.edges.ticks import SegmentTicks
from edgewheel.motion.motion import Motion, Placed
from edgewheel.motion.ripple import Ripple


class Stretch(Protocol):
    """What a stream of edges needs of it.

    `index` is the number of the motion's segment it lies in. Edges and gaps are numbered as in the
    phase table. Under `ripple` the crank is `advance_deg` behind the tracks when it begins.
    """

    index: int
    begin_s: Fraction
    end_s: Fraction
    direction: int
    phase: PhaseTable
    ripple: Ripple | None
    advance_deg: Fraction

    def gap_at(self, seconds: Fraction) -> int:
        """The gap at a time within it: the number of edges that lie before."""

    def ticks(self, begin: int, end: int) -> Ticks:
        """Ticks (end - begin,) of edges begin to end, not none; in edge order even in reverse."""

    def mean_rpm(self, ticks: Ticks) -> Floats | float:
        """Speed of the mean angle at some ticks (n,), without sign; one number if steady."""


class Course(Protocol):
    """The stretches of a group of tracks, in the order of time, as far as the motion has grown."""

    def at(self, seconds: Fraction) -> Stretch | None:
        """The stretch in force at a time, the last one also after its end; None before any."""

    def after(self, stretch: Stretch) -> Stretch | None:
        """The one that follows, None if there is none yet."""

    def before(self, stretch: Stretch) -> Stretch | None:
        """The one before, None for the first."""


class PlacedStretch:
    """A stretch whose mean angle is quadratic in time: a placed segment."""

    def __init__(
        self,
        placed: Placed,
        phase: PhaseTable,
        tick_hz: int,
        index: int = 0,
        advance_deg: Fraction = Fraction(0),
    ) -> None:
        self.index = index
        self.begin_s = placed.begin_s
        self.end_s = placed.end_s
        self.direction = placed.segment.direction
        self.phase = phase
        self.ripple = placed.segment.ripple
        self.advance_deg = advance_deg
        self._placed = placed
        self._tick_hz = tick_hz

    @cached_property
    def _ticks(self) -> SegmentTicks:
        return SegmentTicks(self._placed, self.phase, self._tick_hz)

    def gap_at(self, seconds: Fraction) -> int:
        if seconds == self.end_s:
            return self.phase.gap(self._placed.end_mean_deg, self.direction)
        turned = self._placed.segment.mean_deg_at(seconds - self.begin_s)
        return self.phase.gap(self._placed.begin_mean_deg + turned, self.direction)

    def ticks(self, begin: int, end: int) -> Ticks:
        return self._ticks.ticks(begin, end)

    def mean_rpm(self, ticks: Ticks) -> Floats | float:
        return segment_rpm(self._placed, ticks, self._tick_hz)


def segment_rpm(placed: Placed, ticks: Ticks, tick_hz: int) -> Floats | float:
    """Speed at some ticks (n,) of a placed segment, without ripple and sign; one if steady."""
    segment = placed.segment
    if segment.rpm_begin == segment.rpm_end:
        return float(abs(segment.rpm_begin))
    seconds = (ticks - round(placed.begin_s * tick_hz)) / tick_hz
    rpm: Floats = np.abs(float(segment.rpm_begin) + float(segment.rpm_per_s) * seconds)
    return rpm


class FixedCourse:
    """The course of tracks that stay where the wheel file has them: the segments as they are."""

    def __init__(self, phases: PhaseTables, motion: Motion, tick_hz: int) -> None:
        self._phases = phases
        self._motion = motion
        self._tick_hz = tick_hz

    def at(self, seconds: Fraction) -> Stretch | None:
        return self._stretch(self._motion.index_at(seconds))

    def after(self, stretch: Stretch) -> Stretch | None:
        return self._stretch(stretch.index + 1)

    def before(self, stretch: Stretch) -> Stretch | None:
        return self._stretch(stretch.index - 1)

    def _stretch(self, index: int) -> Stretch | None:
        if not 0 <= index < len(self._motion):
            return None
        placed = self._motion[index]
        return PlacedStretch(placed, self._phases.of(placed.segment.ripple), self._tick_hz, index)
