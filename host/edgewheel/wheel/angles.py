"""The angle table: where metal comes and goes at each sensor, over one period of the wheel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from edgewheel.wheel.model import Wheel


@dataclass(frozen=True)
class Passing:
    """The metal of one tooth as it passes its sensor once in a period of the wheel.

    `track` is the number of its track; `passage` counts the teeth that pass there from 0 at angle
    0. `begin` and `end` are crank degrees; a tooth may lie across either end of the period.
    """

    track: int
    passage: int
    begin: Fraction
    end: Fraction


@dataclass(frozen=True)
class AngleTable:
    """The n metal edges of one period of a wheel that turns forward.

    `angles` (n,) crank degrees ascending in [0, period); `track` (n,) indices into `tracks`;
    `metal` (n,) True where metal comes, False where it goes; `passage` (n,) which tooth that passes
    on the track, counted from 0 and negative for one that began before angle 0. Edges at the same
    angle stand in the order of their tracks. `before` tells for each of `tracks` whether metal is
    there just before angle 0, `teeth` how many teeth a turn of its shaft has, and `passages` how
    many pass in a period.
    """

    period: int
    tracks: tuple[str, ...]
    angles: tuple[Fraction, ...]
    track: tuple[int, ...]
    metal: tuple[bool, ...]
    passage: tuple[int, ...]
    before: tuple[bool, ...]
    teeth: tuple[int, ...]
    passages: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.angles)


def passings(wheel: Wheel) -> tuple[Passing, ...]:
    """Every tooth that passes in one period, track by track, ascending."""
    return tuple(
        Passing(number, passage, tooth.begin, tooth.end)
        for number, track in enumerate(wheel.tracks)
        for passage, tooth in enumerate(track.crank_teeth(wheel.period))
    )


def angle_table(wheel: Wheel, metal: Sequence[Passing] | None = None) -> AngleTable:
    """The edges of one period: of the wheel's own teeth, or of `metal` in their place."""
    metal = passings(wheel) if metal is None else metal
    teeth = tuple(len(track.teeth) for track in wheel.tracks)
    counts = [track.passages(wheel.period) for track in wheel.tracks]
    edges = sorted(
        (*_wrapped(angle, wheel.period, tooth, counts[tooth.track]), comes)
        for tooth in metal
        for angle, comes in ((tooth.begin, True), (tooth.end, False))
    )
    return AngleTable(
        wheel.period,
        tuple(track.name for track in wheel.tracks),
        tuple(angle for angle, _, _, _ in edges),
        tuple(number for _, number, _, _ in edges),
        tuple(comes for _, _, _, comes in edges),
        tuple(passage for _, _, passage, _ in edges),
        tuple(_before_zero(edges, number) for number in range(len(wheel.tracks))),
        teeth,
        tuple(counts),
    )


def _wrapped(angle: Fraction, period: int, tooth: Passing, count: int) -> tuple[Fraction, int, int]:
    """An edge's angle within the period, its track, and its passage counted from that period."""
    cycle, rest = divmod(angle, period)
    return rest, tooth.track, tooth.passage - int(cycle) * count


def _before_zero(edges: list[tuple[Fraction, int, int, bool]], number: int) -> bool:
    """True if the track's first edge is metal going, for then metal was there before it."""
    return next((not comes for _, track, _, comes in edges if track == number), False)
