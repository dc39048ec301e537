"""One piece of a motion: speed linear in time, in one direction, under one ripple."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from edgewheel.errors import UsageError
from edgewheel.motion.ripple import Ripple

DEG_PER_S_PER_RPM = 6
HIGHEST_RPM = 100_000
"""Beyond this a speed is a slip of the keyboard."""


@dataclass(frozen=True)
class Segment:
    """`seconds` (> 0) of speed going from `rpm_begin` to `rpm_end`; both negative in reverse.

    Raises UsageError if the engine would turn round within it.
    """

    seconds: Fraction
    rpm_begin: Fraction
    rpm_end: Fraction
    ripple: Ripple | None = None

    def __post_init__(self) -> None:
        if self.seconds <= 0:
            raise UsageError(
                "A piece of motion takes no time. Give it more than 0 seconds or turns."
            )
        if self.rpm_begin * self.rpm_end < 0:
            raise UsageError(
                f"The engine would turn round between {self.rpm_begin} and {self.rpm_end} rpm. "
                "Split the motion at standstill."
            )

    @property
    def mean_deg(self) -> Fraction:
        """Crank degrees turned by its end, signed, as an engine without ripple would."""
        return (self.rpm_begin + self.rpm_end) * DEG_PER_S_PER_RPM * self.seconds / 2

    @property
    def rpm_per_s(self) -> Fraction:
        return (self.rpm_end - self.rpm_begin) / self.seconds

    @property
    def direction(self) -> int:
        """1 forward, -1 reverse, 0 at rest."""
        speed = self.rpm_begin + self.rpm_end
        return (speed > 0) - (speed < 0)

    def rpm_at(self, seconds: Fraction) -> Fraction:
        """Speed after some seconds of it."""
        return self.rpm_begin + self.rpm_per_s * seconds

    def until(self, seconds: Fraction) -> Segment:
        """Its first `seconds`."""
        return replace(self, seconds=seconds, rpm_end=self.rpm_at(seconds))

    def mean_deg_at(self, seconds: Fraction) -> Fraction:
        """Mean degrees turned after some seconds of it."""
        speed = self.rpm_begin + self.rpm_per_s * seconds / 2
        return speed * DEG_PER_S_PER_RPM * seconds


def hold(
    rpm: Fraction,
    *,
    seconds: Fraction | None = None,
    turns: Fraction | None = None,
    ripple: Ripple | None = None,
) -> Segment:
    """Constant speed for a time or a number of turns. Raises UsageError."""
    return ramp(rpm, rpm, seconds=seconds, turns=turns, ripple=ripple)


def ramp(
    rpm_begin: Fraction,
    rpm_end: Fraction,
    *,
    seconds: Fraction | None = None,
    turns: Fraction | None = None,
    rpm_per_s: Fraction | None = None,
    ripple: Ripple | None = None,
) -> Segment:
    """From one speed to another, in a time, some turns or at a rate. Raises UsageError."""
    for rpm in (rpm_begin, rpm_end):
        if abs(rpm) > HIGHEST_RPM:
            raise UsageError(f"{float(rpm):g} rpm is too fast. Stay within {HIGHEST_RPM} rpm.")
    if seconds is None and rpm_per_s is not None:
        if rpm_per_s == 0 or rpm_begin == rpm_end:
            raise UsageError("This ramp goes nowhere. Give a rate above 0 and a new speed.")
        seconds = abs((rpm_end - rpm_begin) / rpm_per_s)
    elif seconds is None and turns is not None:
        mean_rpm = abs(rpm_begin + rpm_end) / 2
        if mean_rpm == 0:
            raise UsageError("An engine at rest makes no turns. Give seconds instead of turns.")
        seconds = turns * 60 / mean_rpm
    if seconds is None:
        raise UsageError("How long does this take? Give seconds, turns or, for a ramp, a rate.")
    return Segment(seconds, rpm_begin, rpm_end, ripple)
