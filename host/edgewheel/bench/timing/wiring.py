"""Which cylinder each coil really fires for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from edgewheel.bench.timing.measure import CYCLE_DEG, fold

ALIKE_DEG = 45.0
"""Cylinders stand further apart than this."""

OWN_DEG = 1.5
"""Coils of one controller agree better than this."""


@dataclass(frozen=True)
class Misfit:
    """A line that fires for another cylinder than the one declared, `fires_for` 0 if for none; or
    for its own, but `early_deg` earlier than the others.
    """

    line: str
    declared: int
    fires_for: int
    early_deg: float = 0.0


def misfits(
    errors: Mapping[str, tuple[int, float]],
    tdc: Mapping[int, float],
    period_deg: float = CYCLE_DEG,
    alike: bool = True,
) -> tuple[Misfit, ...]:
    """Lines that are out of step with the others.

    `errors` are (cylinder, median error in degrees) by line, of lines with one cylinder; `tdc`
    degrees by cylinder, each fired for once in `period_deg`. What most lines share is an error of
    the whole, not of the wiring. `alike`: they are timed by teeth of one width, so that a wrong
    edge puts all off by as much.
    """
    if len(errors) < 2:
        return ()
    common = _common([error for _, error in errors.values()], period_deg)
    found = []
    for line, (cylinder, error) in errors.items():
        own = _fold(error - common, period_deg)
        if abs(own) > ALIKE_DEG:
            place = tdc[cylinder] - own
            away = {n: abs(_fold(deg - place, period_deg)) for n, deg in tdc.items()}
            at = [n for n, deg in away.items() if deg < ALIKE_DEG / 2]
            found.append(Misfit(line, cylinder, at[0] if at else 0))
        elif alike and abs(own) > OWN_DEG:
            found.append(Misfit(line, cylinder, cylinder, own))
    return tuple(found)


def _common(errors: Sequence[float], period_deg: float) -> float:
    """The error that most lines share; of several, the least."""

    def rank(error: float) -> tuple[int, int, float]:
        away = [abs(_fold(other - error, period_deg)) for other in errors]
        near, nearest = (sum(one <= within for one in away) for within in (ALIKE_DEG, OWN_DEG))
        return -near, -nearest, abs(error)

    return min(errors, key=rank)


def _fold(degrees: float, period_deg: float) -> float:
    return float(fold(np.array([degrees]), period_deg)[0])
