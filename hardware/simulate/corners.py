"""Tolerance corners: parts, current gains, offset and temperature drawn from a seed.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from circuit.circuit import Circuit
from circuit.parts import Kind, Part
from simulate.models import models

COLDEST, HOTTEST = 0.0, 60.0
OFFSET = 3e-3


@dataclass(frozen=True)
class Corner:
    """One board as it might be: `factors` by reference, gains of the transistors, the op-amp's
    offset in volts, degrees C.
    """

    degrees: float
    switch_beta: float
    small_beta: float
    offset: float
    factors: dict[str, float] = field(default_factory=dict)
    source: random.Random = field(default_factory=random.Random, repr=False, compare=False)

    def factor(self, part: Part) -> float:
        """What this part's value is multiplied by: the same each time it is asked."""
        if part.ref not in self.factors:
            spread = part.type.tolerance
            self.factors[part.ref] = 1 + self.source.uniform(-spread, spread)
        return self.factors[part.ref]

    def models(self) -> str:
        return models(self.switch_beta, self.small_beta, self.offset)


def varied(stage: Circuit, corner: Corner) -> Circuit:
    """The stage with the values that its parts have in a corner."""
    for part in stage.parts:
        if part.type.kind in (Kind.RESISTOR, Kind.CAPACITOR, Kind.TRIMMER):
            number = part.type.number * corner.factor(part)
            value = f"{number:.4f}" if number >= 1e-3 else f"{number * 1e12:.3f}p"
            stage = stage.with_part(replace(part, type=replace(part.type, value=value)))
    return stage


def corners(seed: int, count: int) -> list[Corner]:
    """The same corners for the same seed; half of them at an end of the temperature range."""
    drawn = []
    for n in range(count):
        source = random.Random(f"{seed}/{n}")
        ends = (COLDEST, HOTTEST)
        degrees = ends[n // 2 % 2] if n % 2 else source.uniform(COLDEST, HOTTEST)
        drawn.append(
            Corner(
                degrees,
                switch_beta=source.uniform(100, 400),
                small_beta=source.uniform(110, 450),
                offset=source.uniform(-OFFSET, OFFSET),
                source=source,
            )
        )
    return drawn
