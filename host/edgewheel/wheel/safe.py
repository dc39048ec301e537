"""Which edge of a track to set a controller to, and what the other one does to the angles."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from edgewheel.wheel.model import Track
from edgewheel.wheel.pins import SingleEdge, edge_periods, leading_edge, pin_edges

_OTHER: dict[SingleEdge, SingleEdge] = {"rise": "fall", "fall": "rise"}


@dataclass(frozen=True)
class SafeEdge:
    """The edge that keeps the teeth where they are drawn.

    `edge` is None if both are as good; `shifts` give for each tooth (its number, crank degrees from
    that edge, or from the rise, to the other edge of the same tooth: positive if it is later).
    """

    track: str
    edge: SingleEdge | None
    reason: str
    shifts: tuple[tuple[int, Fraction], ...]


def safe_edge(track: Track, period: int) -> SafeEdge:
    """The edge whose periods are the more even; of a VR sensor always the tooth's centre.

    Even means that every period is a whole multiple of the shortest, as on a wheel with equal
    pitches and missing teeth. If neither edge is even, or both are, the one with fewer different
    periods is safe; a tie leaves both.
    """
    leading = leading_edge(track)
    if track.sensor.direction:
        reason = "a pulse starts at the tooth, but ends by time"
        return SafeEdge(track.name, leading, reason, ())
    if track.sensor.kind == "vr":
        reason = "it is the steep crossing at the tooth's centre; the other drifts into the gap"
        return SafeEdge(track.name, leading, reason, _shifts(track, period, leading))
    scores = {edge: _unevenness(track, period, edge) for edge in ("rise", "fall")}
    if scores["rise"] == scores["fall"]:
        uneven = scores["rise"][0]
        reason = "both are uneven alike" if uneven else "both are evenly pitched"
        return SafeEdge(track.name, None, reason, _shifts(track, period, "rise"))
    edge: SingleEdge = "rise" if scores["rise"] < scores["fall"] else "fall"
    uneven = scores[edge][0]
    reason = "it has fewer different periods" if uneven else "only this one is evenly pitched"
    return SafeEdge(track.name, edge, reason, _shifts(track, period, edge))


def _unevenness(track: Track, period: int, edge: SingleEdge) -> tuple[bool, int]:
    """(some period is no whole multiple of the shortest, number of different periods)."""
    periods = set(edge_periods(pin_edges(track, period, edge), period))
    shortest = min(periods)
    return any(one % shortest for one in periods), len(periods)


def _shifts(track: Track, period: int, edge: SingleEdge) -> tuple[tuple[int, Fraction], ...]:
    """From `edge` to the other edge of the same tooth, for each tooth once."""
    here = {one.tooth: one.angle for one in reversed(pin_edges(track, period, edge))}
    other = {one.tooth: one.angle for one in reversed(pin_edges(track, period, _OTHER[edge]))}
    turn = track.crank_degrees_per_turn
    first_is_here = edge == leading_edge(track)
    return tuple(
        (tooth, later if first_is_here else later - turn)
        for tooth in sorted(here)
        for later in [(other[tooth] - here[tooth]) % turn]
    )
