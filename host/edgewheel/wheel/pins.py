"""What a controller's pin sees of a track: rising and falling edges over the wheel's period."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from edgewheel.wheel.model import Tooth, Track

SingleEdge = Literal["rise", "fall"]
EdgeChoice = Literal["rise", "fall", "both"]
"""The edges that an input is set to answer."""


@dataclass(frozen=True)
class PinEdge:
    """One edge at the pin: crank degrees in [0, period), its way, and the tooth that makes it.

    Teeth are numbered from 1 in the order of `Track.teeth`; `leading` marks the first of a tooth's
    two edges. A VR sensor's edge in a space belongs to the tooth before it.
    """

    angle: Fraction
    rises: bool
    tooth: int
    leading: bool


def pin_edges(track: Track, period: int, choice: EdgeChoice = "both") -> tuple[PinEdge, ...]:
    """The edges of one track that `choice` lets in, ascending, turning forward.

    A Hall sensor switches where metal comes and goes, a VR sensor at its zero crossings. A
    direction sensor starts a pulse where metal comes; the pulse ends by time, so the start is its
    only edge, whatever the choice.
    """
    teeth = track.crank_teeth(period)
    edges = [
        PinEdge(angle % period, rises, number % len(track.teeth) + 1, leading)
        for number, tooth in enumerate(teeth)
        for angle, rises, leading in _tooth_edges(track, tooth, _space_end(teeth, number, period))
        if choice == "both" or track.sensor.direction or rises == (choice == "rise")
    ]
    return tuple(sorted(edges, key=lambda edge: edge.angle))


def zero_crossing(begin: Fraction, end: Fraction) -> Fraction:
    """Where a VR sensor's voltage crosses zero on a tooth or a space, from `begin` to `end`.

    The voltage is the negative rate of change of flux (Faraday's law), and flux is greatest at the
    centre of a tooth and least at the centre of a space.
    """
    return (begin + end) / 2


def leading_edge(track: Track) -> SingleEdge:
    """Which way the pin goes at the first edge of a tooth: a VR sensor's, at the tooth's centre."""
    falls = (track.sensor.metal == "low") != (track.sensor.kind == "vr")
    return "fall" if falls else "rise"


def reads_level(track: Track) -> bool:
    """Whether the pin's level tells if metal is there: a VR or direction sensor's does not."""
    return track.sensor.kind == "hall" and track.sensor.direction is None


def levels_at(track: Track, period: int, angles: Sequence[Fraction]) -> tuple[bool, ...]:
    """True where the pin is high from that angle on; each angle is in [0, period)."""
    edges = pin_edges(track, period)
    places = [edge.angle for edge in edges]
    return tuple(edges[bisect_right(places, angle) - 1].rises for angle in angles)


def edge_periods(edges: tuple[PinEdge, ...], period: int) -> tuple[Fraction, ...]:
    """Degrees from the edge before to each edge, round the period."""
    angles = [edges[-1].angle - period, *(edge.angle for edge in edges)]
    return tuple(later - earlier for earlier, later in pairwise(angles))


def _space_end(teeth: tuple[Tooth, ...], number: int, period: int) -> Fraction:
    """Where the space behind a tooth ends."""
    last = number + 1 == len(teeth)
    return teeth[0].begin + period if last else teeth[number + 1].begin


def _tooth_edges(
    track: Track, tooth: Tooth, space_end: Fraction
) -> list[tuple[Fraction, bool, bool]]:
    """(crank degrees, rises, leading) of a tooth's one or two edges."""
    high = track.sensor.metal == "high"
    if track.sensor.direction:
        return [(tooth.begin, high, True)]
    if track.sensor.kind == "vr":
        centre = zero_crossing(tooth.begin, tooth.end)
        behind = zero_crossing(tooth.end, space_end)
        return [(centre, not high, True), (behind, high, False)]
    return [(tooth.begin, high, True), (tooth.end, not high, False)]
