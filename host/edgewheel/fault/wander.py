"""Wandering cam: a stretched chain or a restless adjuster turns the cam against the crank."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, cast

import numpy as np

from edgewheel.edges.phase import Floats
from edgewheel.edges.table import Ticks
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.late import ripple_ratio
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, EVER, Window

LARGEST_DEG = 90


@dataclass(frozen=True)
class WanderingTrack(EdgeByEdge):
    """The track falls behind the crank by up to `range_deg` and comes back, every `period_s`.

    It is late by range / 2 x (1 - cos(2 pi t / period)) crank degrees at t after tick 0. The way
    is turned into time as the motion goes on. An edge that would only come after the motion's end
    does not come. For a track that also comes early, add `shifted`. It reaches one edge on.
    """

    track: Annotated[str, TrackName()]
    range_deg: Annotated[Fraction, Bounds(above=0, maximum=LARGEST_DEG)]
    period_s: Annotated[Fraction, Bounds(Fraction(1, 100), 100_000)]
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def edit(self, view: View) -> Edit:
        """Each edge later, but before where the next one goes."""
        edges, following = view.edges, view.ticks(1)
        here = self._moved(view, edges.ticks)
        known = following < EVER
        there = self._moved(view, np.where(known, following, 0))
        comes = known & (there < EVER)
        before = np.where(comes, there - view.scene.shortest_ticks, EVER)
        to_ticks = np.maximum(np.minimum(here, before), edges.ticks)
        return Edit(
            cast(Ticks, np.where(view.chosen, to_ticks, edges.ticks)), np.ones(len(edges), np.bool_)
        )

    def _moved(self, view: View, ticks: Ticks) -> Ticks:
        return view.place.crank.later(
            ticks, self._late_deg(view, ticks) / ripple_ratio(view, ticks)
        )

    def _late_deg(self, view: View, ticks: Ticks) -> Floats:
        phase = 2 * np.pi * ticks / (float(self.period_s) * view.scene.tick_hz)
        return cast(Floats, float(self.range_deg) / 2 * (1 - np.cos(phase)))
