"""Which cylinder each coil really fires for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from edgewheel.bench.timing.measure import CYCLE_DEG, fold

ALIKE_DEG = 45.0
"""Cylinders stand further apart than this, and coils of one controller agree better."""


@dataclass(frozen=True)
class Misfit:
    """A line that fires for another cylinder than the one declared; `fires_for` 0 if for none."""

    line: str
    declared: int
    fires_for: int


def misfits(
    errors: Mapping[str, tuple[int, float]], tdc: Mapping[int, float]
) -> tuple[Misfit, ...]:
    """Lines that are out of step with the others.

    `errors` are (cylinder, median error in degrees) by line, of lines with one cylinder; `tdc`
    degrees by cylinder. What most lines share is an error of the whole, not of the wiring.
    """
    if len(errors) < 2:
        return ()
    common = _common([error for _, error in errors.values()])
    found = []
    for line, (cylinder, error) in errors.items():
        own = _fold(error - common)
        if abs(own) > ALIKE_DEG:
            place = tdc[cylinder] - own
            at = [n for n, deg in tdc.items() if abs(_fold(deg - place)) < ALIKE_DEG / 2]
            found.append(Misfit(line, cylinder, at[0] if at else 0))
    return tuple(found)


def _common(errors: Sequence[float]) -> float:
    """The error that most lines share; of several, the least."""

    def rank(error: float) -> tuple[int, float]:
        near = sum(abs(_fold(other - error)) <= ALIKE_DEG for other in errors)
        return -near, abs(error)

    return min(errors, key=rank)


def _fold(degrees: float) -> float:
    return float(fold(np.array([degrees]), CYCLE_DEG)[0])
