"""Jitter: edges that come a little before or after their time, each by its own chance."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

import numpy as np

from edgewheel.edges.phase import Floats
from edgewheel.edges.table import NO_TOOTH
from edgewheel.fault.bounce import of_choice
from edgewheel.fault.draw import normal, uniform
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.model import Complaint, one_of
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, Window
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.wheel.pins import EdgeChoice

LARGEST_US = 100_000
LARGEST_DEG = 90
LEAST_RPM = 1.0


@dataclass(frozen=True)
class Jitter(EdgeByEdge):
    """Each edge is moved by a random time, drawn by (seed, fault, cycle, tooth, edge).

    `even`: evenly between -x and +x; `normal`: x is the standard deviation (cut at the borders
    below). x is `us`, or `deg` crank degrees at the speed of the moment, at least 1 rpm. No edge
    goes beyond half-way to its track's neighbour, none before table tick 0. It reaches one edge
    either way.
    """

    track: Annotated[str, TrackName()]
    us: Annotated[Fraction, Bounds(0, LARGEST_US)] = Fraction(0)
    deg: Annotated[Fraction, Bounds(0, LARGEST_DEG)] = Fraction(0)
    shape: Literal["even", "normal"] = "even"
    edges: EdgeChoice = "both"
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def complaint(self) -> Complaint | None:
        """What is wrong with these numbers together."""
        return one_of("how far it jitters is not clear", us=self.us, deg=self.deg)

    def edit(self, view: View) -> Edit:
        """Each chosen edge moved within half its distance to either neighbour."""
        edges, margin = view.edges, view.scene.shortest_ticks
        wanted = np.rint(self._size(view) * self._draws(view)).astype(np.int64)
        before = np.minimum((edges.ticks - view.ticks(-1)) // 2 - margin, edges.ticks)
        earliest = np.minimum(-before, 0)
        latest = np.maximum((view.ticks(1) - edges.ticks) // 2 - margin, 0)
        by = np.clip(wanted, earliest, latest)
        moving = view.chosen & of_choice(edges.level, self.edges)
        return Edit(edges.ticks + np.where(moving, by, 0), np.ones(len(edges), np.bool_))

    def _draws(self, view: View) -> Floats:
        edges = view.edges
        assert edges.passage is not None
        counters = np.where(edges.passage == NO_TOOTH, edges.ticks, edges.passage)
        counters = 2 * counters + edges.level
        if self.shape == "even":
            return 2 * uniform(view.scene.key, counters) - 1
        return normal(view.scene.key, counters)

    def _size(self, view: View) -> Floats:
        """Ticks (n,) of the largest or standard move at each edge."""
        edges = view.edges
        if not self.deg:
            return np.full(len(edges), float(self.us * view.scene.tick_hz / 1_000_000))
        rpm = np.maximum(view.place.crank.rpm(edges.ticks, view.angles_deg), LEAST_RPM)
        return float(self.deg) / (DEG_PER_S_PER_RPM * rpm) * view.scene.tick_hz
