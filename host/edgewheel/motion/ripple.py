"""How speed rises and falls within a turn while the mean speed stays what it is.

A ripple maps the crank angle to the *mean angle*, the angle that an engine without the ripple would
have reached by the same time. Both agree after every `period_deg`, so the mean speed over a period
is the speed that the segment states, and time follows from the mean angle alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Protocol

HALF_TURN = Fraction(180)


class Ripple(Protocol):
    """What the edges need to know of a ripple; angles are crank degrees."""

    @property
    def period_deg(self) -> Fraction:
        """After how many degrees it repeats."""

    def lead_deg(self, angle_deg: Fraction) -> float:
        """Mean angle minus angle, at an angle."""

    def lag_deg(self, mean_deg: Fraction) -> float:
        """Mean angle minus angle, at a mean angle."""

    def speed_ratio(self, angle_deg: Fraction) -> float:
        """Speed at an angle over the mean speed."""

    @property
    def slowest_ratio(self) -> float:
        """The least of these, above 0."""


@dataclass(frozen=True)
class CompressionRipple:
    """Speed that falls towards each compression: speed / mean = (1 - d cos psi) / sqrt(1 - d^2).

    psi = per_turn (angle - slowest_at_deg). `depth` d is (fastest - slowest) / (fastest + slowest),
    from 0 to below 1; `per_turn` counts compressions a turn: half the cylinders of a four-stroke,
    all of a two-stroke.

    The time integral has the form of Kepler's true and eccentric anomaly, hence
    mean psi = psi + 2 atan(b sin psi / (1 - b cos psi)) with b = d / (1 + sqrt(1 - d^2))
    (Broucke and Cefola, Celestial Mechanics 7, 1973, gives this form without quadrant trouble).
    """

    depth: Fraction
    per_turn: Fraction
    slowest_at_deg: Fraction = Fraction(0)

    @property
    def period_deg(self) -> Fraction:
        return 360 / self.per_turn

    @cached_property
    def _beta(self) -> float:
        depth = float(self.depth)
        return depth / (1 + math.sqrt((1 - depth) * (1 + depth)))

    def lead_deg(self, angle_deg: Fraction) -> float:
        psi = self._psi(angle_deg)
        lead = 2 * math.atan2(self._beta * math.sin(psi), 1 - self._beta * math.cos(psi))
        return math.degrees(lead) / float(self.per_turn)

    def lag_deg(self, mean_deg: Fraction) -> float:
        psi = self._psi(mean_deg)
        lag = 2 * math.atan2(self._beta * math.sin(psi), 1 + self._beta * math.cos(psi))
        return math.degrees(lag) / float(self.per_turn)

    def speed_ratio(self, angle_deg: Fraction) -> float:
        depth = float(self.depth)
        swing = 1 - depth * math.cos(self._psi(angle_deg))
        return swing / math.sqrt((1 - depth) * (1 + depth))

    @property
    def slowest_ratio(self) -> float:
        depth = float(self.depth)
        return math.sqrt((1 - depth) / (1 + depth))

    def _psi(self, angle_deg: Fraction) -> float:
        """The angle within a compression, -pi to pi, reduced before it loses digits to a float."""
        psi_deg = (angle_deg - self.slowest_at_deg) * self.per_turn
        return math.radians((psi_deg + HALF_TURN) % 360 - HALF_TURN)
