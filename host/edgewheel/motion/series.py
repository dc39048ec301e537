"""A ripple of any shape, as a Fourier series of its slowness."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from edgewheel.motion.solve import rising_root

QUIET_HARMONICS = 8
"""So many harmonics below the least in a row end the series: single ones may vanish by symmetry."""


@dataclass(frozen=True)
class SeriesRipple:
    """Mean speed / speed = 1 + sum over k >= 1 of a_k cos(k psi) + b_k sin(k psi).

    psi goes round once in `period_deg` from crank angle 0; `cosines` and `sines` are a_1, b_1 and
    on. The series is the definition, not an approach to one, so the mean angle, its integral, is
    known in closed form and the mean speed over a period is met exactly. It must stay above 0.
    """

    period_deg: Fraction
    cosines: tuple[float, ...]
    sines: tuple[float, ...]

    def lead_deg(self, angle_deg: Fraction) -> float:
        return self._lead(float(angle_deg % self.period_deg))

    def lag_deg(self, mean_deg: Fraction) -> float:
        """Mean angle minus angle, at a mean angle."""
        mean = float(mean_deg % self.period_deg)

        def excess(angle: float) -> tuple[float, float]:
            return angle + self._lead(angle) - mean, self._slowness(angle)

        bound = self._most_lead
        return mean - rising_root(excess, mean - bound, mean + bound, mean)

    def speed_ratio(self, angle_deg: Fraction) -> float:
        return 1 / self._slowness(float(angle_deg % self.period_deg))

    @cached_property
    def slowest_ratio(self) -> float:
        steps = 32 * (len(self.cosines) + 1)
        width = float(self.period_deg) / steps
        return 1 / max(self._slowness(step * width) for step in range(steps))

    def _slowness(self, angle: float) -> float:
        psi = self._psi(angle)
        return 1 + math.fsum(
            a * math.cos(k * psi) + b * math.sin(k * psi) for k, a, b in self._harmonics
        )

    def _lead(self, angle: float) -> float:
        psi = self._psi(angle)
        return self._deg_per_rad * math.fsum(
            (a * math.sin(k * psi) - b * math.cos(k * psi)) / k for k, a, b in self._harmonics
        )

    def _psi(self, angle: float) -> float:
        return angle / self._deg_per_rad

    @cached_property
    def _deg_per_rad(self) -> float:
        return float(self.period_deg) / (2 * math.pi)

    @cached_property
    def _harmonics(self) -> tuple[tuple[int, float, float], ...]:
        pairs = zip(self.cosines, self.sines, strict=True)
        return tuple((k, a, b) for k, (a, b) in enumerate(pairs, 1))

    @cached_property
    def _most_lead(self) -> float:
        """A bound of the lead, degrees."""
        return self._deg_per_rad * sum(math.hypot(a, b) / k for k, a, b in self._harmonics) + 1e-9


def fitted(period_deg: Fraction, slowness: Sequence[float], least: float) -> SeriesRipple | None:
    """The ripple through equidistant samples of slowness from angle 0, whose mean becomes 1.

    Harmonics at the end that are smaller than `least` are left out; None if even the last one
    that the samples can tell is not, so that more samples are needed.
    """
    count = len(slowness)
    mean = math.fsum(slowness) / count
    turn = [2 * math.pi * step / count for step in range(count)]
    cosine, sine = [math.cos(one) for one in turn], [math.sin(one) for one in turn]
    cosines: list[float] = []
    sines: list[float] = []
    small = 0
    for k in range(1, count // 2):
        places = [k * step % count for step in range(count)]
        scale = 2 / (count * mean)
        pairs = list(zip(slowness, places, strict=True))
        cosines.append(scale * math.fsum(value * cosine[place] for value, place in pairs))
        sines.append(scale * math.fsum(value * sine[place] for value, place in pairs))
        small = small + 1 if math.hypot(cosines[-1], sines[-1]) < least else 0
        if small == QUIET_HARMONICS:
            return SeriesRipple(period_deg, tuple(cosines[:-small]), tuple(sines[:-small]))
    return None
