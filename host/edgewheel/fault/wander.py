"""Wandering cam: a stretched chain or a restless adjuster turns the cam against the crank."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, cast

import numpy as np

from edgewheel.edges.phase import Floats
from edgewheel.edges.table import Ticks
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, EVER, Window

LARGEST_DEG = 90


@dataclass(frozen=True)
class WanderingTrack(EdgeByEdge):
    """The track falls behind the crank by up to `range_deg` and comes back, every `period_s`.

    It is late by range / 2 x (1 - cos(2 pi t / period)) crank degrees at t after tick 0. The way
    is turned into time as the motion goes on. With a window or a repetition, nothing comes later
    than just before the track's next edge. An edge that would only come after the motion's end
    does not come. For a track that also comes early, add `shifted`. It reaches one edge on.
    """

    track: Annotated[str, TrackName()]
    range_deg: Annotated[Fraction, Bounds(above=0, maximum=LARGEST_DEG)]
    period_s: Annotated[Fraction, Bounds(Fraction(1, 100), 100_000)]
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def edit(self, view: View) -> Edit:
        """Each edge later, if all are, else as far as the next one allows."""
        edges = view.edges
        to_ticks = view.place.crank.later(edges.ticks, self._late_deg(view, edges.ticks))
        if (self.window, self.repetition) != (ALWAYS, EACH):
            following = view.ticks(1)
            room = np.where(following < EVER, following - view.scene.shortest_ticks, EVER)
            to_ticks = np.minimum(to_ticks, room)
            to_ticks = np.where(view.chosen, np.maximum(to_ticks, edges.ticks), edges.ticks)
        return Edit(to_ticks, np.ones(len(edges), np.bool_))

    def _late_deg(self, view: View, ticks: Ticks) -> Floats:
        phase = 2 * np.pi * ticks / (float(self.period_s) * view.scene.tick_hz)
        return cast(Floats, float(self.range_deg) / 2 * (1 - np.cos(phase)))
