"""One continuous staircase of speed, up and then down, and where its points lie in time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from edgewheel.bench.plan import Staircase
from edgewheel.motion.cam import CamTiming
from edgewheel.motion.manoeuvres import under_ripple
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import Segment, hold, ramp

Way = Literal["up", "down"]


@dataclass(frozen=True)
class Point:
    """A speed of the staircase: its ramp begins at `begin_s`, the speed has settled at `settled_s`
    and is held until `end_s`, in seconds of the motion.

    What happens on the ramp that leads to a point counts for the point.
    """

    number: int
    way: Way
    rpm: Fraction
    begin_s: Fraction
    settled_s: Fraction
    end_s: Fraction


def speeds(stairs: Staircase) -> list[Fraction]:
    """The speeds from low to high, the highest always among them."""
    count = int((stairs.high_rpm - stairs.low_rpm) / stairs.step_rpm)
    up = [stairs.low_rpm + number * stairs.step_rpm for number in range(count + 1)]
    return up if up[-1] == stairs.high_rpm else [*up, stairs.high_rpm]


def staircase_motion(
    stairs: Staircase, lead_in_s: Fraction, cams: Mapping[str, CamTiming] | None = None
) -> tuple[Motion, list[Point]]:
    """The motion from standstill through all points and down again, and the points.

    Before the first point the engine runs at the lowest speed for `lead_in_s`, so that the
    controller can find sync.
    """
    motion = Motion(cams=cams)

    def then(segment: Segment) -> None:
        for piece in under_ripple(segment, stairs.ripple):
            motion.append(piece)

    then(ramp(Fraction(0), stairs.low_rpm, rpm_per_s=stairs.rpm_per_s))
    then(hold(stairs.low_rpm, seconds=lead_in_s))
    up = speeds(stairs)
    legs: list[tuple[Way, Fraction]] = [("up", rpm) for rpm in up]
    legs += [("down", rpm) for rpm in reversed(up[:-1])]
    points = []
    for number, (way, rpm) in enumerate(legs):
        begin_s = motion.end_s
        before = motion[len(motion) - 1].segment.rpm_end
        if rpm != before:
            then(ramp(before, rpm, rpm_per_s=stairs.rpm_per_s))
        settled_s = motion.end_s + stairs.settle_s
        then(hold(rpm, seconds=stairs.settle_s + stairs.hold_s))
        points.append(Point(number, way, rpm, begin_s, settled_s, motion.end_s))
    return motion, points
