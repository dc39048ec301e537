"""Late tooth: a tooth that the sensor reports later than it passes, now and then or always."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

import numpy as np

from edgewheel.edges.table import Ticks
from edgewheel.fault.bounce import LONGEST_US, of_choice
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.model import Complaint, one_of
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, EVER, Window

LARGEST_DEG = 180


@dataclass(frozen=True)
class LateTooth(EdgeByEdge):
    """A chosen tooth comes later by `us`, or by the time in which the crank turns `deg` degrees.

    `edges: tooth` moves both of its edges together, each by as much as the first; `rise` or `fall`
    only that one. Nothing comes later than just before the track's next edge, and what would come
    after the motion's end by `deg` does not. A tooth that is out of place on the wheel, or early,
    is `bent_tooth`. It reaches two edges on.
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
        edges = view.edges
        if self.edges == "tooth":
            first = np.where(view.ends_tooth, view.ticks(-1), edges.ticks)
            second = np.where(view.ends_tooth, edges.ticks, view.ticks(1))
            following = np.where(view.ends_tooth, view.ticks(1), view.ticks(2))
            moving = view.tooth_chosen
        else:
            first, second, following = edges.ticks, edges.ticks, view.ticks(1)
            moving = view.chosen & of_choice(edges.level, self.edges)
        room = np.where(following < EVER, following - second - view.scene.shortest_ticks, EVER)
        by = np.where(moving, np.clip(self._by(view, first), 0, np.maximum(room, 0)), 0)
        return Edit(edges.ticks + by, np.ones(len(edges), np.bool_))

    def _by(self, view: View, ticks: Ticks) -> Ticks:
        """Ticks (n,) that edges at `ticks` (n,) are to be late, `EVER` beyond the motion's end."""
        if self.us:
            return np.full(len(ticks), view.scene.us_ticks(self.us))
        then = view.place.crank.later(ticks, np.full(len(ticks), float(self.deg)))
        return np.where(then < EVER, then - ticks, EVER)
