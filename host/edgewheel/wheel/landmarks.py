"""The tooth that a crank angle is counted from, and where TDC stands from it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from edgewheel.wheel.model import TURN, Tooth, Track, Wheel
from edgewheel.wheel.pins import EdgeChoice, PinEdge, edge_periods, leading_edge, pin_edges
from edgewheel.wheel.ratios import LIKE, usual_period
from edgewheel.wheel.safe import safe_edge

Landmark = Literal["gap", "odd tooth", "other track", "none"]


@dataclass(frozen=True)
class Reference:
    """The tooth that the wheel's angles are counted from.

    `landmark` is what stands before it: a gap, a tooth that is out of step, a tooth of `other`
    track, or nothing, where all teeth are alike. `rise` and `fall` are its edges in crank degrees
    in [0, period), None where the pin has no such edge.
    """

    track: str
    tooth: int
    landmark: Landmark
    other: str
    rise: Fraction | None
    fall: Fraction | None


def main_track(wheel: Wheel) -> Track:
    """The track with the most teeth in a period; the first of several."""
    return max(wheel.tracks, key=lambda track: track.passages(wheel.period))


def reference(wheel: Wheel) -> Reference:
    """The first tooth after the gap; if a cycle has several, the last before TDC of cylinder 1.

    Without a gap it is the first tooth that is in step again after one that is not, or that follows
    a tooth of the sparsest other track, or simply the last one before TDC of cylinder 1.
    """
    track = main_track(wheel)
    landmark, edges = _marked_edges(wheel, track)
    other = _sparsest(wheel, track)
    if not edges and other:
        landmark, edges = "other track", _first_after(wheel, track, other)
    target = wheel_tdc(wheel, 1) or Fraction(0)
    candidates = edges or list(pin_edges(track, wheel.period, leading_edge(track)))
    edge = min(candidates, key=lambda one: (target - one.angle) % wheel.period)
    rise, fall = _both_edges(track, wheel.period, edge)
    name = other.name if other and landmark == "other track" else ""
    return Reference(track.name, edge.tooth, landmark, name, rise, fall)


def gaps(track: Track) -> tuple[tuple[int, Tooth], ...]:
    """The spaces that are longer than the usual one, each with the number of the tooth behind it.

    A space is given like a tooth, in degrees of the track's own shaft.
    """
    after = (*track.teeth[1:], Tooth(track.teeth[0].begin + TURN, track.teeth[0].end + TURN))
    spaces = [
        Tooth(tooth.end, following.begin)
        for tooth, following in zip(track.teeth, after, strict=True)
    ]
    usual = usual_period(tuple(space.width for space in spaces))
    return tuple(
        (number % len(spaces) + 1, space)
        for number, space in enumerate(spaces, 1)
        if space.width > usual * LIKE
    )


def wheel_tdc(wheel: Wheel, cylinder: int) -> Fraction | None:
    """Crank degrees of a cylinder's firing TDC, None if the wheel does not say."""
    return dict(wheel.tdc).get(cylinder)


def degrees_to_tdc(wheel: Wheel, edge: Fraction | None) -> Fraction | None:
    """Crank degrees from an edge on to TDC of cylinder 1, in [0, period)."""
    tdc = wheel_tdc(wheel, 1)
    return None if tdc is None or edge is None else (tdc - edge) % wheel.period


def _marked_edges(wheel: Wheel, track: Track) -> tuple[Landmark, list[PinEdge]]:
    """Edges at which usual periods begin again, behind the longest gap there is.

    The edge that is not safe shows teeth of odd width only; of those there must be one a turn.
    """
    safe = safe_edge(track, wheel.period).edge or leading_edge(track)
    edges = _back_in_step(wheel, track, safe)
    if edges:
        behind_gap = {tooth for tooth, _ in gaps(track)}
        return "gap" if edges[0].tooth in behind_gap else "odd tooth", edges
    edges = _back_in_step(wheel, track, "fall" if safe == "rise" else "rise")
    if len(edges) * track.crank_degrees_per_turn == wheel.period:
        return "odd tooth", edges
    return "none", []


def _back_in_step(wheel: Wheel, track: Track, choice: EdgeChoice) -> list[PinEdge]:
    """The edges at which usual periods begin again, behind the longest period that is not."""
    edges = pin_edges(track, wheel.period, choice)
    periods = edge_periods(edges, wheel.period)
    usual = usual_period(periods)
    back = [
        (this, edge)
        for edge, this, after in zip(edges, periods, (*periods[1:], periods[0]), strict=True)
        if not _like(this, usual) and _like(after, usual)
    ]
    longest = max((this for this, _ in back), default=usual)
    return [edge for this, edge in back if this == longest]


def _like(one: Fraction, usual: Fraction) -> bool:
    return usual <= one * LIKE and one <= usual * LIKE


def _sparsest(wheel: Wheel, track: Track) -> Track | None:
    others = [one for one in wheel.tracks if one is not track]
    return min(others, key=lambda one: one.passages(wheel.period), default=None)


def _first_after(wheel: Wheel, track: Track, other: Track) -> list[PinEdge]:
    """The first edge of `track` at or after each tooth of `other`."""
    edges = pin_edges(track, wheel.period, leading_edge(track))
    marks = pin_edges(other, wheel.period, leading_edge(other))
    return [min(edges, key=lambda edge: (edge.angle - mark.angle) % wheel.period) for mark in marks]


def _both_edges(
    track: Track, period: int, edge: PinEdge
) -> tuple[Fraction | None, Fraction | None]:
    """Rise and fall of the tooth that an edge belongs to, in this very passing of it."""
    turn = track.crank_degrees_per_turn
    others = [one for one in pin_edges(track, period) if one.tooth == edge.tooth]
    partner = next(
        (one for one in others if one.rises != edge.rises and _apart(edge, one, period) < turn),
        None,
    )
    angles = {edge.rises: edge.angle}
    if partner:
        angles[partner.rises] = partner.angle
    return angles.get(True), angles.get(False)


def _apart(edge: PinEdge, other: PinEdge, period: int) -> Fraction:
    """Crank degrees from the leading to the trailing one of two edges."""
    first, second = (edge, other) if edge.leading else (other, edge)
    return (second.angle - first.angle) % period
