"""How the engine turns: an append-only list of segments, placed in exact time and mean angle."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from edgewheel.motion.cam import CamTiming
from edgewheel.motion.ripple import Ripple
from edgewheel.motion.segment import Segment


@dataclass(frozen=True)
class Placed:
    """A segment, the time at which it begins and the mean angle (under its own ripple) there."""

    segment: Segment
    begin_s: Fraction
    begin_mean_deg: Fraction

    @property
    def end_s(self) -> Fraction:
        return self.begin_s + self.segment.seconds

    @property
    def end_mean_deg(self) -> Fraction:
        return self.begin_mean_deg + self.segment.mean_deg


@dataclass(frozen=True)
class CrankState:
    """Where the crank is and how fast it turns at one moment."""

    angle_deg: Fraction
    rpm: float


class Motion:
    """Segments laid end to end from time 0 and `start_deg`. Grows only at its end.

    `cams` says of tracks by name how far they run ahead, as a function of time.
    """

    def __init__(
        self,
        segments: Iterable[Segment] = (),
        start_deg: Fraction = Fraction(0),
        cams: Mapping[str, CamTiming] | None = None,
    ) -> None:
        self.start_deg = start_deg
        self.cams = dict(cams or {})
        self._placed: list[Placed] = []
        self._begins_s: list[Fraction] = []
        for segment in segments:
            self.append(segment)

    def append(self, segment: Segment) -> None:
        """Let a segment follow the last one."""
        if not self._placed:
            placed = Placed(segment, Fraction(0), mean_angle(self.start_deg, segment.ripple))
        else:
            last = self._placed[-1]
            mean_deg = last.end_mean_deg
            if segment.ripple != last.segment.ripple:
                angle_deg = true_angle(mean_deg, last.segment.ripple)
                mean_deg = mean_angle(angle_deg, segment.ripple)
            placed = Placed(segment, last.end_s, mean_deg)
        self._placed.append(placed)
        self._begins_s.append(placed.begin_s)

    def until(self, seconds: Fraction) -> Motion:
        """The same motion up to a time within it, open to other segments from there on."""
        cut = Motion((), self.start_deg, self.cams)
        count = bisect_left(self._begins_s, seconds)
        cut._placed, cut._begins_s = self._placed[:count], self._begins_s[:count]
        if count and seconds < cut._placed[-1].end_s:
            last = cut._placed[-1]
            cut._placed[-1] = replace(last, segment=last.segment.until(seconds - last.begin_s))
        return cut

    def __len__(self) -> int:
        return len(self._placed)

    def __getitem__(self, index: int) -> Placed:
        return self._placed[index]

    @property
    def end_s(self) -> Fraction:
        """Seconds until the last segment ends."""
        return self._placed[-1].end_s if self._placed else Fraction(0)

    def index_at(self, seconds: Fraction) -> int:
        """The segment in force at a time; the last one also after its end."""
        return max(bisect_right(self._begins_s, seconds) - 1, 0)

    def at(self, seconds: Fraction) -> CrankState:
        """Angle and speed at a time; after the end, as at the end but standing still."""
        if not self._placed:
            return CrankState(self.start_deg, 0.0)
        placed = self[self.index_at(seconds)]
        segment = placed.segment
        within_s = min(seconds - placed.begin_s, segment.seconds)
        mean_deg = placed.begin_mean_deg + segment.mean_deg_at(within_s)
        angle_deg = true_angle(mean_deg, segment.ripple)
        if seconds > placed.end_s:
            return CrankState(angle_deg, 0.0)
        rpm = float(segment.rpm_begin + segment.rpm_per_s * within_s)
        ratio = segment.ripple.speed_ratio(angle_deg) if segment.ripple else 1.0
        return CrankState(angle_deg, rpm * ratio)


def mean_angle(angle_deg: Fraction, ripple: Ripple | None) -> Fraction:
    """The mean angle that belongs to an angle."""
    return angle_deg if ripple is None else angle_deg + Fraction(ripple.lead_deg(angle_deg))


def true_angle(mean_deg: Fraction, ripple: Ripple | None) -> Fraction:
    """The angle that belongs to a mean angle."""
    return mean_deg if ripple is None else mean_deg - Fraction(ripple.lag_deg(mean_deg))
