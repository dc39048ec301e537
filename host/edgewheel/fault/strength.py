"""How strong the half-waves of a VR sensor's voltage are, tooth by tooth."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import Floats
from edgewheel.fault.model import VoltageFault
from edgewheel.fault.ontrack import shaft_angles

_CLOSE_ENOUGH = 1e-6


@dataclass(frozen=True)
class RunOut:
    """Half-waves are 1 + `depth` cos(x) times as high, x from `closest_at` degrees of the shaft."""

    depth: float
    closest_at: Fraction

    def shares(self, shaft_deg: Floats) -> Floats:
        """The strengths (n,) of teeth at angles (n,) of their shaft."""
        turned = np.radians(shaft_deg - float(self.closest_at))
        shares: Floats = 1 + self.depth * np.cos(turned)
        return shares


def strengths_of(
    levels: LevelTable, track: int, run_out: RunOut, weak: Iterable[VoltageFault]
) -> Floats:
    """All strengths (n,) that half-waves of a track may have, ascending, as shares of the sensor's
    own: each tooth's by its place, or by the last fault that is there.
    """
    passage = np.arange(levels.passages[track])
    shaft_deg = shaft_angles(levels, track, passage)
    tooth = passage % levels.teeth[track] + 1
    found = [run_out.shares(shaft_deg)]
    for fault in weak:
        teeth = fault.repetition.teeth
        found.append(fault.shares(shaft_deg[np.isin(tooth, teeth)] if teeth else shaft_deg))
    strengths: Floats = np.unique(np.round(np.concatenate(found), 9))
    return strengths


def nearest_shares(values: Floats, most: int) -> list[float]:
    """At most so many shares, ascending, from which no value is further away than need be, as a
    share of itself; `values` (n,) ascend, and are the shares if there are no more of them.
    """
    near, far = 0.0, 1.0
    if len(values) <= most:
        far = near
    while far - near > _CLOSE_ENOUGH:
        off = (near + far) / 2
        near, far = (near, off) if len(_cover(values, off)) <= most else (off, far)
    return _cover(values, far)


def open_shares(values: Floats, most: int) -> list[float]:
    """So many shares, ascending, for values (n,) that may yet change: the values, or half of the
    shares for them if there are more; the rest is spread evenly from nothing to the strongest.
    """
    known = nearest_shares(values, most if len(values) <= most else most // 2)
    spread: list[float] = np.linspace(0, known[-1], most - len(known), endpoint=False).tolist()
    return sorted([*spread, *known])


def _cover(values: Floats, off: float) -> list[float]:
    """The fewest shares of which one is off by at most so much of each value."""
    groups: list[tuple[float, float]] = []
    for value in values.tolist():
        if groups and value * (1 - off) <= groups[-1][0] * (1 + off):
            groups[-1] = groups[-1][0], value
        else:
            groups.append((value, value))
    return [first if first == last else 2 * first * last / (first + last) for first, last in groups]
