"""Late tooth: a tooth that the sensor reports later than it passes, now and then or always."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal, cast

import numpy as np

from edgewheel.edges.phase import Floats
from edgewheel.edges.table import Ticks
from edgewheel.fault.bounce import LONGEST_US, of_choice
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.model import Complaint, one_of
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, Window

LARGEST_DEG = 180


@dataclass(frozen=True)
class LateTooth(EdgeByEdge):
    """A chosen tooth comes later by `us`, or by `deg` crank degrees at the speed of the moment.

    `edges: tooth` moves both of its edges together, each by as much as the first; `rise` or `fall`
    only that one. Nothing comes later than just before the track's next edge. A tooth that is out
    of place on the wheel, or early, is `bent_tooth`. It reaches two edges on.
    """

    track: Annotated[str, TrackName()]
    us: Annotated[Fraction, Bounds(0, LONGEST_US)] = Fraction(0)
    deg: Annotated[Fraction, Bounds(0, LARGEST_DEG)] = Fraction(0)
    edges: Literal["tooth", "rise", "fall"] = "tooth"
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def complaint(self) -> Complaint | None:
        """What is wrong with these numbers together."""
        return one_of("how late it is, is not clear", us=self.us, deg=self.deg)

    def edit(self, view: View) -> Edit:
        """Chosen edges moved as far as the next edge that stays allows."""
        edges, margin = view.edges, view.scene.shortest_ticks
        if self.edges == "tooth":
            first = np.where(view.ends_tooth, view.ticks(-1), edges.ticks)
            second = np.where(view.ends_tooth, edges.ticks, view.ticks(1))
            following = np.where(view.ends_tooth, view.ticks(1), view.ticks(2))
            by = np.minimum(self._by(view, first), following - second - margin)
            moving = view.tooth_chosen
        else:
            by = np.minimum(self._by(view, edges.ticks), view.ticks(1) - edges.ticks - margin)
            moving = view.chosen & of_choice(edges.level, self.edges)
        by = np.where(moving, np.maximum(by, 0), 0)
        return Edit(edges.ticks + by, np.ones(len(edges), np.bool_))

    def _by(self, view: View, ticks: Ticks) -> Ticks:
        """Ticks (n,) that edges at `ticks` (n,) are to be late."""
        if self.us:
            return np.full(len(ticks), view.scene.us_ticks(self.us))
        crank = view.place.crank
        mean_deg = float(self.deg) / ripple_ratio(view, ticks)
        return crank.later(ticks, mean_deg) - ticks


def ripple_ratio(view: View, ticks: Ticks) -> Floats:
    """Speed over mean speed (n,) at each tick, where the tooth of each edge stands."""
    crank = view.place.crank
    mean = crank.rpm(ticks)
    return cast(
        Floats,
        np.where(mean > 0, crank.rpm(ticks, view.angles_deg) / np.where(mean > 0, mean, 1), 1.0),
    )
