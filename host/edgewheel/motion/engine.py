"""The engine as a gas spring: pistons on a crank, compressing air that leaks only if one is weak.

What a starter feels: no combustion, no friction (the starter makes up for it), one moment of
inertia at the crank.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from edgewheel.errors import UsageError

M_PER_MM = 1e-3
PA_PER_KPA = 1e3
AIR_KPA = Fraction("101.325")
"""The standard atmosphere, ISO 2533."""

COMPRESSION_EXPONENT = Fraction("1.3")
"""Polytropic exponent of compressed air in a cylinder (Heywood, chapter 9: 1.3 within 0.05)."""


@dataclass(frozen=True)
class Cylinder:
    """One cylinder's geometry, in millimetres.

    Raises UsageError if the rod is too short to let the crank pass.
    """

    bore_mm: Fraction
    stroke_mm: Fraction
    rod_mm: Fraction
    compression_ratio: Fraction

    def __post_init__(self) -> None:
        if self.rod_mm <= self.stroke_mm / 2:
            raise UsageError(
                f"A rod of {float(self.rod_mm):g} mm is no longer than the crank's throw of "
                f"{float(self.stroke_mm / 2):g} mm, half the stroke, so the crank could not pass. "
                "Give the rod's length from centre to centre."
            )

    def piston_mm(self, degrees: float) -> float:
        """From crank axis to piston pin, `degrees` after TDC.

        s = a cos(theta) + sqrt(l^2 - a^2 sin^2(theta)), a half the stroke, l the rod (Heywood,
        Internal Combustion Engine Fundamentals, eq. 2.5).
        """
        throw, theta = float(self.stroke_mm) / 2, math.radians(degrees)
        rod_height = math.sqrt(
            math.pow(float(self.rod_mm), 2) - math.pow(throw * math.sin(theta), 2)
        )
        return throw * math.cos(theta) + rod_height

    @cached_property
    def swept_m3(self) -> float:
        """The volume that the piston sweeps."""
        area = math.pi / 4 * (float(self.bore_mm) * M_PER_MM) ** 2
        return area * float(self.stroke_mm) * M_PER_MM

    @cached_property
    def largest_m3(self) -> float:
        """The volume over the piston at BDC."""
        ratio = float(self.compression_ratio)
        return self.swept_m3 * ratio / (ratio - 1)

    def volume_m3(self, degrees: float) -> float:
        """The volume over the piston, `degrees` after TDC (Heywood, eq. 2.4)."""
        down = float(self.rod_mm + self.stroke_mm / 2) - self.piston_mm(degrees)
        clearance = self.largest_m3 - self.swept_m3
        return clearance + self.swept_m3 * down / float(self.stroke_mm)


@dataclass(frozen=True)
class Engine:
    """Cylinders that fire in turn.

    `firing` gives (cylinder, crank degrees of its firing TDC) in firing order; `strokes` is 4 or 2
    to a working cycle. `inertia_kg_m2` is everything that turns, reckoned at the crank: flywheel,
    clutch, starter by the square of its gear. `losses` gives for weak cylinders the part of the
    gas pressure above the crankcase's that they lose, 0 to 1. Raises UsageError if no cylinder
    compresses at all.
    """

    cylinder: Cylinder
    firing: tuple[tuple[int, Fraction], ...]
    inertia_kg_m2: Fraction
    strokes: int = 4
    exponent: Fraction = COMPRESSION_EXPONENT
    air_kpa: Fraction = AIR_KPA
    losses: tuple[tuple[int, Fraction], ...] = ()

    def __post_init__(self) -> None:
        if all(part <= 0 for part, _ in self._strengths):
            raise UsageError(
                "No cylinder compresses, so there is no ripple. Let at least one lose less than 1, "
                "or leave the ripple out."
            )

    @property
    def cycle_deg(self) -> int:
        """Crank degrees of a working cycle."""
        return 180 * self.strokes

    @cached_property
    def ripple_deg(self) -> Fraction:
        """After how many degrees the gas torque repeats: a firing interval if all are alike."""
        angles = sorted(angle % self.cycle_deg for _, angle in self.firing)
        interval = Fraction(self.cycle_deg, len(angles))
        even = all(angle == angles[0] + n * interval for n, angle in enumerate(angles))
        return interval if even and not self.losses else Fraction(self.cycle_deg)

    def work_j(self, degrees: float) -> float:
        """The work that the gas has done on the crank, at a crank angle; periodic.

        Compression and expansion follow p V^n = const from BDC to BDC round each firing TDC; the
        other strokes breathe freely. So the work since BDC, against the crankcase at the pressure
        of the air, is p0 V0 / (n - 1) (1 - (V0 / V)^(n - 1)) - p0 (V - V0).
        """
        return sum(part * self._stroke_work_j(degrees - tdc) for part, tdc in self._strengths)

    def torque_nm(self, degrees: float) -> float:
        """The gas torque on the crank: gauge pressure times dV/d(theta)."""
        return sum(part * self._stroke_torque_nm(degrees - tdc) for part, tdc in self._strengths)

    @cached_property
    def _strengths(self) -> tuple[tuple[float, float], ...]:
        losses = dict(self.losses)
        return tuple((float(1 - losses.get(one, 0)), float(tdc)) for one, tdc in self.firing)

    def _stroke_work_j(self, after_tdc_deg: float) -> float:
        after = self._within_cycle(after_tdc_deg)
        if abs(after) >= 180:
            return 0.0
        volume, largest = self.cylinder.volume_m3(after), self.cylinder.largest_m3
        rise = float(self.exponent) - 1
        polytropic = largest / rise * (1 - math.pow(largest / volume, rise))
        return float(self.air_kpa) * PA_PER_KPA * (polytropic - (volume - largest))

    def _stroke_torque_nm(self, after_tdc_deg: float) -> float:
        after = self._within_cycle(after_tdc_deg)
        if abs(after) >= 180:
            return 0.0
        cylinder = self.cylinder
        compressed = cylinder.largest_m3 / cylinder.volume_m3(after)
        pressure_ratio = math.pow(compressed, float(self.exponent))
        throw, theta = float(cylinder.stroke_mm) / 2, math.radians(after)
        sine = throw * math.sin(theta)
        rod_height = math.sqrt(float(cylinder.rod_mm) ** 2 - sine**2)
        fall = sine * (1 + throw * math.cos(theta) / rod_height) / float(cylinder.stroke_mm)
        return float(self.air_kpa) * PA_PER_KPA * (pressure_ratio - 1) * cylinder.swept_m3 * fall

    def _within_cycle(self, degrees: float) -> float:
        half = self.cycle_deg / 2
        return (degrees + half) % self.cycle_deg - half
