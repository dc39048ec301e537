"""One track as a disc seen face-on, at crank angle 0, its sensor at the top.

Seen from the front of the engine the crank turns clockwise, so what comes later stands further to
the left of the sensor.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise
from math import cos, pi, radians, sin

from edgewheel.wheel.drawing.svg import Canvas, Point, mm
from edgewheel.wheel.landmarks import Reference, gaps
from edgewheel.wheel.model import TURN, Tooth, Track, Wheel

_ARC_FROM_DEG = 6
"""Shorter stretches of a rim are drawn straight: nobody sees the difference."""

_GAP_WORD = 20
"""Room that the word takes."""


@dataclass(frozen=True)
class Disc:
    """Where a disc is drawn and how large its rim is."""

    centre: Point
    rim: float
    depth: float

    @property
    def root(self) -> float:
        """Radius between the teeth."""
        return self.rim - self.depth

    def at(self, shaft_deg: float, radius: float) -> Point:
        """The point that is under the sensor when the shaft has turned so far."""
        angle = radians(shaft_deg)
        return (
            self.centre[0] - radius * sin(angle),
            self.centre[1] - radius * cos(angle),
        )


def disc_for(track: Track, centre: Point, rim: float) -> Disc:
    """A disc whose teeth are about as deep as they are wide, within reason."""
    pitch = 2 * pi * rim / max(len(track.teeth), 1)
    return Disc(centre, rim, min(max(pitch * 0.55, rim * 0.06), rim * 0.16))


def draw_body(canvas: Canvas, disc: Disc, track: Track, marked_tooth: int | None) -> None:
    """Rim, bore and keyway, with one tooth filled in."""
    canvas.path(_outline(disc, track.teeth), "metal")
    if marked_tooth is not None:
        tooth = track.teeth[marked_tooth - 1]
        canvas.path(_tooth_outline(disc, tooth), "mark")
    canvas.circle(disc.centre, disc.rim * 0.17, "hole")


def draw_sensor(canvas: Canvas, disc: Disc) -> None:
    """A sensor head above the rim, its tip where angle 0 is read."""
    x, y = disc.centre[0], disc.centre[1] - disc.rim - 3
    tip = [(x, y), (x - 6, y - 7), (x - 6, y - 22), (x + 6, y - 22), (x + 6, y - 7)]
    canvas.polygon(tip, "hole")


def draw_rotation(canvas: Canvas, disc: Disc) -> None:
    """A clockwise arrow round the bore."""
    radius = disc.rim * 0.3
    start, end = disc.at(60, radius), disc.at(-60, radius)
    canvas.path(f"M{_point(start)}A{mm(radius)} {mm(radius)} 0 0 1 {_point(end)}", "arrow")
    size = max(5.0, disc.rim * 0.05)
    tip = disc.at(-60 - 57.3 * 1.6 * size / radius, radius)
    wings = [disc.at(-60, radius - size), disc.at(-60, radius + size)]
    canvas.polygon([tip, *wings], "head")


def draw_numbers(canvas: Canvas, disc: Disc, track: Track, marked_tooth: int | None) -> None:
    """Tooth numbers inside the rim: all of them, or as many as there is room for."""
    radius = disc.root - 11
    for number in numbers_shown(track, 2 * pi * radius, 22, marked_tooth):
        x, y = disc.at(float(track.teeth[number - 1].centre), radius)
        canvas.text((x, y + 3.5), str(number), "tiny mid")


def numbers_shown(
    track: Track, length: float, room: float, marked_tooth: int | None
) -> tuple[int, ...]:
    """The teeth whose number is written along a turn that is `length` long.

    Each number takes `room`. The marked one is always there; the others are every tooth, or every
    fifth, tenth and so on.
    """
    teeth = track.teeth
    steps = (step for step in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000))
    densest = min(
        (float(after.centre - before.centre) for before, after in pairwise(teeth)), default=360.0
    )
    step = next(step for step in steps if step * densest / 360 * length >= room)
    wanted = [1, *(number for number in range(1, len(teeth) + 1) if number % step == 0)]
    shown = [marked_tooth] if marked_tooth else []
    for number in dict.fromkeys(wanted):
        near = (_apart(teeth[number - 1], teeth[other - 1]) / 360 * length for other in shown)
        if all(distance >= room for distance in near):
            shown.append(number)
    return tuple(sorted(shown))


def draw_gaps(canvas: Canvas, disc: Disc, track: Track) -> None:
    """A bar over each gap, and the word where the number of a tooth would stand."""
    for _, space in gaps(track):
        radius = disc.rim - 2
        begin, end = float(space.begin), float(space.end)
        points = disc.at(begin, radius), disc.at(end, radius)
        large = int(end - begin > 180)
        arc = f"A{mm(radius)} {mm(radius)} 0 {large} 0 {_point(points[1])}"
        canvas.path(f"M{_point(points[0])}{arc}", "gap")
        if radians(end - begin) * disc.root > _GAP_WORD:
            x, y = disc.at((begin + end) / 2, disc.root - 11)
            canvas.text((x, y + 3.5), "gap", "tiny gapword mid")


def draw_tdc(canvas: Canvas, disc: Disc, wheel: Wheel, track: Track) -> None:
    """An arrow head for each TDC, at the point of the rim that is then under the sensor."""
    per_turn = track.crank_degrees_per_turn
    places = sorted((angle % per_turn * TURN / per_turn, cylinder) for cylinder, angle in wheel.tdc)
    for place, members in groupby(places, key=lambda one: one[0]):
        cylinders = ", ".join(str(cylinder) for _, cylinder in members)
        angle = float(place)
        canvas.polygon(
            [
                disc.at(angle, disc.rim + 2),
                disc.at(angle + 2.2 * 100 / disc.rim, disc.rim + 10),
                disc.at(angle - 2.2 * 100 / disc.rim, disc.rim + 10),
            ],
            "tdchead",
        )
        x, y = disc.at(angle, disc.rim + 19)
        canvas.text((x, y + 4), cylinders, f"small tdcword {_anchor(x, disc.centre[0])}")


def _anchor(x: float, centre: float) -> str:
    """Text beside a disc grows away from it."""
    if abs(x - centre) < 8:
        return "mid"
    return "end" if x < centre else ""


def _apart(one: Tooth, other: Tooth) -> float:
    """Degrees between two centres, the shorter way."""
    between = (one.centre - other.centre) % TURN
    return float(min(between, TURN - between))


def _outline(disc: Disc, teeth: tuple[Tooth, ...]) -> str:
    first = teeth[0].begin
    parts = [f"M{_point(disc.at(float(first), disc.root))}"]
    ends = [tooth.begin for tooth in teeth[1:]] + [first + TURN]
    for tooth, space_end in zip(teeth, ends, strict=True):
        parts.append(f"L{_point(disc.at(float(tooth.begin), disc.rim))}")
        parts.append(_stretch(disc, tooth.begin, tooth.end, disc.rim))
        parts.append(f"L{_point(disc.at(float(tooth.end), disc.root))}")
        parts.append(_stretch(disc, tooth.end, space_end, disc.root))
    return "".join(parts) + "Z"


def _tooth_outline(disc: Disc, tooth: Tooth) -> str:
    return (
        f"M{_point(disc.at(float(tooth.begin), disc.root))}"
        f"L{_point(disc.at(float(tooth.begin), disc.rim))}"
        f"{_stretch(disc, tooth.begin, tooth.end, disc.rim)}"
        f"L{_point(disc.at(float(tooth.end), disc.root))}"
        f"{_stretch(disc, tooth.end, tooth.begin, disc.root)}Z"
    )


def _stretch(disc: Disc, begin: Fraction, end: Fraction, radius: float) -> str:
    """Along the rim or the root from one angle to another, later or earlier."""
    to = _point(disc.at(float(end), radius))
    if abs(end - begin) < _ARC_FROM_DEG:
        return f"L{to}"
    large, sweep = int(abs(end - begin) > 180), int(end < begin)
    return f"A{mm(radius)} {mm(radius)} 0 {large} {sweep} {to}"


def _point(point: Point) -> str:
    return f"{mm(point[0])} {mm(point[1])}"


def marked_tooth_of(track: Track, reference: Reference) -> int | None:
    """The reference tooth, if it is one of this track's."""
    return reference.tooth if track.name == reference.track else None
