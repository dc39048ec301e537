"""Extra pulse: something between two teeth that the sensor takes for a tooth."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

import numpy as np

from edgewheel.fault.bounce import LONGEST_US
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View, pulses
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, EVER, Window


@dataclass(frozen=True)
class ExtraPulse(EdgeByEdge):
    """In the space behind a tooth stands a pulse of `width_us`, of the level of a tooth.

    It begins `at_percent` of the time from the tooth's second edge to the track's next edge. Where
    it would not end before that, or no edge follows within 5 seconds, it is left out. It reaches
    one edge on.
    """

    track: Annotated[str, TrackName()]
    width_us: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_US)]
    at_percent: Annotated[Fraction, Bounds(above=0, maximum=99)] = Fraction(50)
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def edit(self, view: View) -> Edit:
        """A pulse behind each chosen tooth's second edge."""
        edges, scene, following = view.edges, view.scene, view.ticks(1)
        space = np.where(following < EVER, following - edges.ticks, 0)
        starts = edges.ticks + np.rint(space * float(self.at_percent / 100)).astype(np.int64)
        ends = starts + max(scene.us_ticks(self.width_us), 1)
        margin = scene.shortest_ticks
        fits = (starts >= edges.ticks + margin) & (ends <= edges.ticks + space - margin)
        fits &= view.tooth_chosen & view.ends_tooth
        added = pulses(edges[fits], starts[fits], ends[fits])
        return Edit(edges.ticks, np.ones(len(edges), np.bool_), added)
