"""The angle table: where metal comes and goes at each sensor, over one period of the wheel."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from edgewheel.wheel.model import Track, Wheel


@dataclass(frozen=True)
class AngleTable:
    """The n metal edges of one period of a wheel that turns forward.

    `angles` (n,) crank degrees ascending in [0, period); `track` (n,) indices into `tracks`;
    `metal` (n,) True where metal comes, False where it goes. Edges at the same angle stand in the
    order of their tracks. `before` tells for each of `tracks` whether metal is there just before
    angle 0.
    """

    period: int
    tracks: tuple[str, ...]
    angles: tuple[Fraction, ...]
    track: tuple[int, ...]
    metal: tuple[bool, ...]
    before: tuple[bool, ...]

    def __len__(self) -> int:
        return len(self.angles)


def angle_table(wheel: Wheel) -> AngleTable:
    """The edges of one period, both of every tooth on every track."""
    edges = sorted(
        (angle, number, metal)
        for number, track in enumerate(wheel.tracks)
        for angle, metal in track_edges(track, wheel.period)
    )
    return AngleTable(
        wheel.period,
        tuple(track.name for track in wheel.tracks),
        tuple(angle for angle, _, _ in edges),
        tuple(number for _, number, _ in edges),
        tuple(metal for _, _, metal in edges),
        tuple(_metal_before_zero(track, wheel.period) for track in wheel.tracks),
    )


def track_edges(track: Track, period: int) -> list[tuple[Fraction, bool]]:
    """(crank degrees in [0, period), metal comes) of one track, ascending."""
    edges = []
    for tooth in track.crank_teeth(period):
        edges.append((tooth.begin, True))
        edges.append((tooth.end % period, False))
    return sorted(edges)


def _metal_before_zero(track: Track, period: int) -> bool:
    """True if the track's first edge is metal going, for then metal was there before it."""
    _, first_comes = track_edges(track, period)[0]
    return not first_comes
