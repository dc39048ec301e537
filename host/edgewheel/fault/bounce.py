"""Bounce: a worn wheel or a loose sensor answers an edge with further pulses."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, cast

import numpy as np

from edgewheel.edges.table import Bytes, EdgeChunk, Ticks
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.model import Complaint, Scene, one_of
from edgewheel.fault.ontrack import HORIZON_S, EdgeByEdge, Edit, View, pulses
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, Bools, Window
from edgewheel.wheel.pins import EdgeChoice

LONGEST_US = 1_000_000
MOST_PULSES = 100


def of_choice(level: Bytes, choice: EdgeChoice) -> Bools:
    """Whether the edges (n,) that lead to `level` (n,) are of a choice."""
    if choice == "both":
        return np.ones(len(level), np.bool_)
    return cast(Bools, level == (choice == "rise"))


@dataclass(frozen=True)
class Bounce(EdgeByEdge):
    """After an edge, the level goes back for `width_us`, `count` times over.

    Pulse i of 1 to count begins i delays after the edge, a delay being `delay_us`, or
    `delay_percent` of the time since the track's last edge of the same kind. `after` says which
    edges bounce, by their level at the pin. A pulse that would not end before the track's next
    edge is left out. It reaches two edges back and one on.
    """

    track: Annotated[str, TrackName()]
    width_us: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_US)]
    delay_us: Annotated[Fraction, Bounds(0, LONGEST_US)] = Fraction(0)
    delay_percent: Annotated[Fraction, Bounds(0, 100)] = Fraction(0)
    count: Annotated[int, Bounds(1, MOST_PULSES)] = 1
    after: EdgeChoice = "both"
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def complaint(self) -> Complaint | None:
        """What is wrong with these numbers together."""
        if self.count > 1 and 0 < self.delay_us <= self.width_us:
            return "its pulses would overlap", "Make width_us less than delay_us."
        delays = {"delay_us": self.delay_us, "delay_percent": self.delay_percent}
        return one_of("the delay of the bounce is not clear", **delays)

    def edit(self, view: View) -> Edit:
        """Nothing is moved; the pulses that fit are added."""
        edges, scene = view.edges, view.scene
        delays = self._delays(view)
        width = max(scene.us_ticks(self.width_us), 1)
        bouncing = view.chosen & of_choice(edges.level, self.after) & (delays > 0)
        last = np.minimum(view.ticks(1) - scene.shortest_ticks, edges.ticks + self._far(scene))
        added: list[EdgeChunk] = []
        for number in range(1, self.count + 1):
            starts = edges.ticks + number * delays
            fits = bouncing & (starts + width <= last)
            if number > 1:
                fits &= delays > width
            added += pulses(edges[fits], starts[fits], starts[fits] + width)
        return Edit(edges.ticks, np.ones(len(edges), np.bool_), tuple(added))

    def _delays(self, view: View) -> Ticks:
        """Ticks (n,) from each edge to its first pulse, 0 where that is not known."""
        ticks = view.edges.ticks
        if not self.delay_percent:
            return np.full(len(ticks), view.scene.us_ticks(self.delay_us))
        before = view.ticks(-2)
        periods = np.where(before < 0, 0, ticks - before)
        return np.rint(periods * float(self.delay_percent / 100)).astype(np.int64)

    def _far(self, scene: Scene) -> int:
        return HORIZON_S * scene.tick_hz - 1
