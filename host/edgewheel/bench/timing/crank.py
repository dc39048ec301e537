"""The true crank at many moments at once."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import Ripple
from edgewheel.motion.segment import DEG_PER_S_PER_RPM

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class CrankAt:
    """The crank at n moments, arrays (n,).

    `deg` are crank degrees that are not brought back to a cycle; they begin at the motion's start.
    `rpm` is the mean speed, 0 outside the motion; `segment` the piece of motion, -1 outside.
    """

    deg: Floats
    rpm: Floats
    segment: Ints


def crank_at(motion: Motion, seconds: Floats) -> CrankAt:
    """Where the crank stands at each moment, to a ten-thousandth of a degree within days."""
    begins = np.array([float(motion[k].begin_s) for k in range(len(motion))])
    segment = np.searchsorted(begins, seconds, side="right").astype(np.int64) - 1
    deg = np.full(len(seconds), float(motion.start_deg))
    rpm = np.zeros(len(seconds))
    for number in np.unique(segment[segment >= 0]):
        here = np.flatnonzero(segment == number)
        placed = motion[int(number)]
        piece, within = placed.segment, seconds[here] - begins[number]
        length = float(piece.seconds)
        inside = within <= length
        within = np.minimum(within, length)
        speed, rate = float(piece.rpm_begin), float(piece.rpm_per_s)
        turned = (speed + rate * within / 2) * within * DEG_PER_S_PER_RPM
        deg[here] = _without_ripple_lead(placed.begin_mean_deg, turned, piece.ripple)
        rpm[here] = np.where(inside, speed + rate * within, 0.0)
        segment[here[~inside]] = -1
    return CrankAt(deg, rpm, segment)


def _without_ripple_lead(begin_mean_deg: Fraction, turned: Floats, ripple: Ripple | None) -> Floats:
    mean = float(begin_mean_deg) + turned
    if ripple is None:
        return mean
    lag = [ripple.lag_deg(Fraction(x)) for x in mean % 720.0]
    return np.asarray(mean - np.array(lag))
