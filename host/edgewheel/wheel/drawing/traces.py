"""The tracks against crank angle, as the controller's pin sees them."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from fractions import Fraction
from math import pi, sin
from typing import TypeVar

from edgewheel.wheel.drawing.disc import numbers_shown
from edgewheel.wheel.drawing.svg import Canvas, mm
from edgewheel.wheel.landmarks import gaps
from edgewheel.wheel.model import TURN, Track
from edgewheel.wheel.pins import pin_edges

_Choice = TypeVar("_Choice")

PULSE_WIDTH = 1.6
"""A direction sensor's pulse is drawn this wide: its true width is a matter of speed."""

VR_REACH = 2
"""A VR sensor feels a tooth this many widths from its centre."""

_WAVE_STEPS = ((12.0, 8), (4.0, 4), (0.0, 2))
"""Points on a lobe by how wide it is drawn, at least so wide."""

_LOOKS = ((9.0, "ink"), (4.5, "fine"), (0.0, "hair"))
"""Strokes by how wide a pitch is drawn, at least so wide."""

_NARROWEST_NAMED = 8


@dataclass(frozen=True)
class Axis:
    """Crank degrees from left to right."""

    left: float
    width: float
    period: int

    def x(self, angle: Fraction | float) -> float:
        """Where a crank angle stands."""
        return self.left + float(angle) / self.period * self.width


@dataclass(frozen=True)
class Lane:
    """The strip in which one track is drawn: its upper and lower line."""

    top: float
    bottom: float

    @property
    def middle(self) -> float:
        """The line of zero volts of a VR sensor."""
        return (self.top + self.bottom) / 2


def draw_trace(canvas: Canvas, axis: Axis, lane: Lane, track: Track, looks: str) -> None:
    """The signal of one track over the period."""
    if track.sensor.kind == "vr":
        canvas.line((axis.left, lane.middle), (axis.left + axis.width, lane.middle), "zero")
        canvas.path(_wave(axis, lane, track), looks)
    elif track.sensor.direction:
        canvas.path(_pulses(axis, lane, track), looks)
    else:
        canvas.path(_square(axis, lane, track), looks)


def trace_looks(axis: Axis, track: Track) -> str:
    """The finer a track's pitch, the finer its stroke, so that it does not run into black."""
    return _fitting(_LOOKS, axis.width / track.passages(axis.period))


def _fitting(choices: tuple[tuple[float, _Choice], ...], size: float) -> _Choice:
    """The first choice whose least size is not above `size`."""
    return next(choice for least, choice in choices if size >= least)


def draw_trace_gaps(canvas: Canvas, axis: Axis, lane: Lane, track: Track) -> None:
    """A pale band over each gap, with its name below."""
    for begin, end in _on_the_axis(axis, _crank_gaps(track, axis.period)):
        left, right = axis.x(begin), axis.x(end)
        canvas.box((left, lane.top - 4), right - left, lane.bottom - lane.top + 8, "band")
        if right - left > _NARROWEST_NAMED:
            canvas.text(((left + right) / 2, lane.bottom + 14), "gap", "tiny mid gapword halo")


def draw_trace_numbers(
    canvas: Canvas, axis: Axis, lane: Lane, track: Track, marked_tooth: int | None
) -> None:
    """Tooth numbers above the trace, as many as there is room for."""
    turn = track.crank_degrees_per_turn
    length = float(turn) / axis.period * axis.width
    room = max(18, 6 + 6.5 * len(str(len(track.teeth))))
    shown = numbers_shown(track, length, room, marked_tooth)
    for index, tooth in enumerate(track.crank_teeth(axis.period)):
        number = index % len(track.teeth) + 1
        x = axis.x(tooth.centre % axis.period)
        if number in shown and axis.left + 4 < x < axis.left + axis.width - 4:
            canvas.text((x, lane.top - 7), str(number), "tiny mid halo")


def draw_degrees(canvas: Canvas, axis: Axis, y: float) -> None:
    """The scale of crank degrees."""
    canvas.line((axis.left, y), (axis.left + axis.width, y), "thin")
    labelled = 60 if axis.period == 720 else 30
    for angle in range(0, axis.period + 1, labelled // 6):
        length = 7 if angle % labelled == 0 else 3.5
        canvas.line((axis.x(angle), y), (axis.x(angle), y + length), "thin")
        if angle % labelled == 0:
            canvas.text((axis.x(angle), y + 19), f"{angle}°", "small mid")
    canvas.text((axis.left + axis.width / 2, y + 36), "crank angle", "small mid quiet")


def _crank_gaps(track: Track, period: int) -> list[tuple[Fraction, Fraction]]:
    turn = track.crank_degrees_per_turn
    scale = turn / TURN
    return [
        (space.begin * scale + turn * passing, space.end * scale + turn * passing)
        for _, space in gaps(track)
        for passing in range(int(period / turn))
    ]


def _on_the_axis(
    axis: Axis, stretches: list[tuple[Fraction, Fraction]]
) -> list[tuple[Fraction, Fraction]]:
    """Stretches cut at the ends of the period, what lies beyond coming in at the other end."""
    pieces = []
    period = Fraction(axis.period)
    for begin, end in stretches:
        for shift in (0, -period):
            left, right = max(begin + shift, Fraction(0)), min(end + shift, period)
            if left < right:
                pieces.append((left, right))
    return pieces


def _square(axis: Axis, lane: Lane, track: Track) -> str:
    edges = pin_edges(track, axis.period)
    level = {True: mm(lane.top), False: mm(lane.bottom)}
    parts = [f"M{mm(axis.left)} {level[edges[-1].rises]}"]
    for edge in edges:
        parts.append(f"H{mm(axis.x(edge.angle))}V{level[edge.rises]}")
    return "".join(parts) + f"H{mm(axis.left + axis.width)}"


def _pulses(axis: Axis, lane: Lane, track: Track) -> str:
    edges = pin_edges(track, axis.period)
    active = lane.top if edges[0].rises else lane.bottom
    rest = lane.bottom if edges[0].rises else lane.top
    parts = [f"M{mm(axis.left)} {mm(rest)}"]
    for edge in edges:
        x = axis.x(edge.angle)
        parts.append(f"H{mm(x)}V{mm(active)}H{mm(x + PULSE_WIDTH)}V{mm(rest)}")
    return "".join(parts) + f"H{mm(axis.left + axis.width)}"


def _wave(axis: Axis, lane: Lane, track: Track) -> str:
    """A lobe while each tooth comes, its opposite while it leaves, nothing in a long space."""
    lobes = _lobes(track, axis.period)
    height = (lane.bottom - lane.top) / 2 * (1 if track.sensor.metal == "high" else -1)
    inner = {
        centre + reach * step / steps
        for centre, reach in lobes
        for steps in [_fitting(_WAVE_STEPS, axis.x(reach) - axis.left)]
        for step in range(-steps, steps + 1)
    }
    angles = [0.0, *sorted(angle for angle in inner if 0 < angle < axis.period), axis.period]
    points = [
        f"{mm(axis.x(angle))} {mm(lane.middle - height * _voltage(lobes, angle))}"
        for angle in angles
    ]
    return "M" + "L".join(points)


def _lobes(track: Track, period: int) -> list[tuple[float, float]]:
    """(centre, how far its lobes reach to either side) of each tooth, and of its neighbours' turn.

    Lobes of near teeth meet halfway; those of a lone tooth end where it is no longer felt.
    """
    teeth = track.crank_teeth(period)
    centres = [float(tooth.centre) for tooth in teeth]
    around = [centres[-1] - period, *centres, centres[0] + period]
    lobes = [
        (centre, min((centre - before) / 2, (after - centre) / 2, VR_REACH * float(tooth.width)))
        for tooth, before, centre, after in zip(teeth, around, centres, around[2:], strict=False)
    ]
    shifted = [(lobes[0][0] + period, lobes[0][1]), (lobes[-1][0] - period, lobes[-1][1])]
    return sorted([*lobes, *shifted])


def _voltage(lobes: list[tuple[float, float]], angle: float) -> float:
    """From -1 to 1; falls through zero at the centre of a tooth."""
    index = bisect_left(lobes, (angle, 0.0))
    near = lobes[max(index - 1, 0) : index + 1]
    return sum(
        sin(pi * (centre - angle) / reach) for centre, reach in near if abs(centre - angle) < reach
    )
