"""The course of a cam whose timing varies: crank and phaser together, cut where either changes.

A cam edge passes when crank angle plus advance reaches the edge's angle. Without ripple the sum is
quadratic in time like the crank's own angle, so it is exact; under a ripple each edge is solved for
its own time.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from edgewheel.edges.phase import Floats, PhaseTables
from edgewheel.edges.stretch import PlacedStretch, Stretch, segment_rpm
from edgewheel.edges.table import Ticks
from edgewheel.errors import UsageError
from edgewheel.motion.cam import CamTiming
from edgewheel.motion.motion import Motion, Placed, true_angle
from edgewheel.motion.ripple import Ripple
from edgewheel.motion.segment import DEG_PER_S_PER_RPM, Segment
from edgewheel.motion.solve import rising_root

LONGEST_SOLVED_S = 8
"""So that a float carries the time within a stretch to a millionth of a tick at any clock."""


class MovedCourse:
    """The course of one track under a motion and a timing of its own."""

    def __init__(
        self, track: str, timing: CamTiming, phases: PhaseTables, motion: Motion, tick_hz: int
    ) -> None:
        self._track = track
        self._timing = timing
        self._phases = phases
        self._motion = motion
        self._tick_hz = tick_hz

    def at(self, seconds: Fraction) -> Stretch | None:
        if not len(self._motion):
            return None
        index = self._motion.index_at(seconds)
        if seconds >= self._motion[index].end_s:
            return self._ending(index)
        return self._stretch(index, *self._cell(index, seconds))

    def after(self, stretch: Stretch) -> Stretch | None:
        index = stretch.index + (stretch.end_s == self._motion[stretch.index].end_s)
        if index >= len(self._motion):
            return None
        return self._stretch(index, *self._cell(index, stretch.end_s))

    def before(self, stretch: Stretch) -> Stretch | None:
        index = stretch.index - (stretch.begin_s == self._motion[stretch.index].begin_s)
        return None if index < 0 else self._ending(index, stretch.begin_s)

    def _ending(self, index: int, end_s: Fraction | None = None) -> Stretch:
        """The stretch of a segment that ends at a time, or with it."""
        end_s = self._motion[index].end_s if end_s is None else end_s
        begin_s, _ = self._cell(index, end_s, before=True)
        return self._stretch(index, begin_s, end_s)

    def _cell(
        self, index: int, seconds: Fraction, *, before: bool = False
    ) -> tuple[Fraction, Fraction]:
        """Begin and end of the stretch that begins at or holds a time, or that ends there."""
        placed, timing = self._motion[index], self._timing
        last = timing.last_knot_s(seconds, before=before)
        begin_s = placed.begin_s if last is None else max(placed.begin_s, last)
        knot = timing.next_knot_s(begin_s)
        end_s = placed.end_s if knot is None else min(placed.end_s, knot)
        for cut_s in self._cuts(placed, begin_s, end_s, seconds):
            if cut_s < seconds or (cut_s == seconds and not before):
                begin_s = max(begin_s, cut_s)
            else:
                end_s = min(end_s, cut_s)
        return begin_s, end_s

    def _cuts(
        self, placed: Placed, begin_s: Fraction, end_s: Fraction, seconds: Fraction
    ) -> list[Fraction]:
        """Where a time of even pace is cut further, near `seconds`: where the cam turns round, and
        so that no solved stretch is too long."""
        pace = self._pace(begin_s, end_s)
        segment = placed.segment
        if not pace:
            return []
        if _solved(segment):
            number = seconds // LONGEST_SOLVED_S
            cuts = [Fraction(LONGEST_SOLVED_S * (number + step)) for step in (-1, 0, 1)]
        else:
            rate = segment.rpm_per_s * DEG_PER_S_PER_RPM
            speed = segment.rpm_begin * DEG_PER_S_PER_RPM + pace
            cuts = [placed.begin_s - speed / rate] if rate else []
        return [cut for cut in cuts if begin_s < cut < end_s]

    def _pace(self, begin_s: Fraction, end_s: Fraction) -> Fraction:
        """Crank degrees a second that the advance grows by, between knots."""
        timing = self._timing
        return (timing.advance_deg(end_s) - timing.advance_deg(begin_s)) / (end_s - begin_s)

    def _stretch(self, index: int, begin_s: Fraction, end_s: Fraction) -> Stretch:
        crank = _part(self._motion[index], begin_s, end_s)
        advance = self._timing.advance_deg(begin_s)
        pace = self._pace(begin_s, end_s)
        ripple = crank.segment.ripple
        if ripple is not None and not pace:
            phase = self._phases.of(ripple, advance)
            return PlacedStretch(crank, phase, self._tick_hz, index, advance)
        if ripple is not None and _solved(crank.segment):
            self._check(crank, ripple, pace)
            return SolvedStretch(crank, self._phases, self._tick_hz, index, advance, pace)
        cam = Placed(
            _faster(crank.segment, pace / DEG_PER_S_PER_RPM),
            begin_s,
            true_angle(crank.begin_mean_deg, ripple) + advance,
        )
        return PlacedStretch(cam, self._phases.of(None), self._tick_hz, index, advance)

    def _check(self, crank: Placed, ripple: Ripple, pace: Fraction) -> None:
        """Refuse a cam that would turn round amid a ripple. Raises UsageError."""
        segment = crank.segment
        slowest_rpm = float(min(abs(segment.rpm_begin), abs(segment.rpm_end)))
        slowest = slowest_rpm * ripple.slowest_ratio * DEG_PER_S_PER_RPM
        if pace * segment.direction >= 0 or abs(pace) < slowest:
            return
        raise UsageError(
            f"At {float(crank.begin_s):g} s track '{self._track}' is moved by {float(pace):g} "
            f"degrees a second, more than the engine turns at its slowest under the ripple, "
            f"{slowest:.0f}, so the cam would turn back. Move it more slowly, or while the engine "
            "is faster."
        )


class SolvedStretch:
    """A moving cam under a ripple: the edges are numbered by the tracks' angle, crank and advance
    together, and the time of each is the root of an equation.
    """

    def __init__(
        self,
        crank: Placed,
        phases: PhaseTables,
        tick_hz: int,
        index: int,
        advance_deg: Fraction,
        pace: Fraction,
    ) -> None:
        assert crank.segment.ripple is not None
        self.index = index
        self.begin_s = crank.begin_s
        self.end_s = crank.end_s
        self.direction = crank.segment.direction
        self.phase = phases.of(None)
        self.ripple: Ripple | None = crank.segment.ripple
        self.advance_deg = advance_deg
        self._ripple = crank.segment.ripple
        self._crank = crank
        self._pace = pace
        self._tick_hz = tick_hz
        self._begin_deg = true_angle(crank.begin_mean_deg, self._ripple)
        self._begin_lead = float(crank.begin_mean_deg - self._begin_deg)

    def gap_at(self, seconds: Fraction) -> int:
        within_s = seconds - self.begin_s
        mean_deg = self._crank.begin_mean_deg + self._crank.segment.mean_deg_at(within_s)
        advance = self.advance_deg + self._pace * within_s
        return self.phase.gap(true_angle(mean_deg, self._ripple) + advance, self.direction)

    def ticks(self, begin: int, end: int) -> Ticks:
        whole, part = divmod(self.begin_s * self._tick_hz, 1)
        seconds = np.array([self._seconds(edge) for edge in range(begin, end)])
        ticks: Ticks = np.rint(seconds * self._tick_hz + float(part)).astype(np.int64) + int(whole)
        return ticks

    def mean_rpm(self, ticks: Ticks) -> Floats | float:
        return segment_rpm(self._crank, ticks, self._tick_hz)

    def _seconds(self, edge: int) -> float:
        """When an edge passes: mean angle turned by then = mean angle of where the crank is then.

        The crank is then at the edge's angle less the advance, which has moved on by then.
        """
        segment, sign = self._crank.segment, self.direction
        speed = float(segment.rpm_begin * DEG_PER_S_PER_RPM)
        rate, pace = float(segment.rpm_per_s * DEG_PER_S_PER_RPM), float(self._pace)
        crank_deg = self.phase.edge_deg(edge) - self.advance_deg
        ahead = float(crank_deg - self._begin_deg)
        reduced = float(crank_deg % self._ripple.period_deg)

        def excess(seconds: float) -> tuple[float, float]:
            angle = Fraction(reduced - pace * seconds)
            lead = self._ripple.lead_deg(angle) - self._begin_lead
            turned = (speed + rate * seconds / 2) * seconds
            slope = speed + rate * seconds + pace / self._ripple.speed_ratio(angle)
            return sign * (turned - ahead + pace * seconds - lead), sign * slope

        length = float(segment.seconds)
        mean = speed + rate * length / 2 + pace
        return rising_root(excess, 0.0, length, ahead / mean)


def _part(placed: Placed, begin_s: Fraction, end_s: Fraction) -> Placed:
    """A placed segment between two times within it."""
    segment = placed.segment
    before_s = begin_s - placed.begin_s
    begin_rpm = segment.rpm_begin + segment.rpm_per_s * before_s
    end_rpm = segment.rpm_begin + segment.rpm_per_s * (end_s - placed.begin_s)
    part = Segment(end_s - begin_s, begin_rpm, end_rpm, segment.ripple)
    return Placed(part, begin_s, placed.begin_mean_deg + segment.mean_deg_at(before_s))


def _faster(segment: Segment, rpm: Fraction) -> Segment:
    """The segment with some speed added, without ripple."""
    return replace(
        segment, rpm_begin=segment.rpm_begin + rpm, rpm_end=segment.rpm_end + rpm, ripple=None
    )


def _solved(segment: Segment) -> bool:
    """Whether a moving cam's edges have to be solved for: the crank turns under a ripple."""
    return segment.ripple is not None and segment.direction != 0
