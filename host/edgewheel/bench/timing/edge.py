"""How far a controller that counts the other edge of the crank signal would be off."""

from __future__ import annotations

from bisect import bisect_right
from typing import Literal

from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.model import Wheel
from edgewheel.wheel.pins import pin_edges
from edgewheel.wheel.safe import safe_edge

Edge = Literal["rise", "fall"]


class EdgeShift:
    """The two edges of the main track's teeth: the one to count, and the way to the other one."""

    def __init__(self, wheel: Wheel, meant: Edge | None = None) -> None:
        track = main_track(wheel)
        edges = pin_edges(track, wheel.period)
        leading: Edge = "rise" if next(e for e in edges if e.leading).rises else "fall"
        self.track = track.name
        self.meant: Edge = meant or safe_edge(track, wheel.period).edge or leading
        self.period_deg = float(wheel.period)
        self._shifts = []
        for number, edge in enumerate(edges):
            if edge.rises != (self.meant == "rise"):
                continue
            partner = edges[(number + (1 if edge.leading else -1)) % len(edges)]
            if partner.rises != edge.rises:
                ahead = partner.angle - edge.angle if edge.leading else edge.angle - partner.angle
                width = float(ahead % wheel.period)
                self._shifts.append((float(edge.angle), width if edge.leading else -width))

    @property
    def other(self) -> Edge:
        """The edge that is not meant."""
        return "fall" if self.meant == "rise" else "rise"

    def at(self, wheel_deg: float) -> float:
        """Crank degrees from the edge meant to the other edge of the same tooth, positive if that
        one is later, for the last tooth before an angle; 0 where the signal has one edge only.
        """
        if not self._shifts:
            return 0.0
        index = bisect_right(self._shifts, (wheel_deg % self.period_deg, 1e9)) - 1
        return self._shifts[index][1]
