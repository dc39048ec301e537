"""The figure of one wheel: its discs face-on, and below them what the controller's pin sees."""

from __future__ import annotations

from fractions import Fraction

from edgewheel.wheel.drawing.disc import (
    Disc,
    disc_for,
    draw_body,
    draw_gaps,
    draw_numbers,
    draw_rotation,
    draw_sensor,
    draw_tdc,
    marked_tooth_of,
)
from edgewheel.wheel.drawing.style import STYLE
from edgewheel.wheel.drawing.svg import Canvas
from edgewheel.wheel.drawing.traces import (
    VR_REACH,
    Axis,
    Lane,
    draw_degrees,
    draw_trace,
    draw_trace_gaps,
    draw_trace_numbers,
    trace_looks,
)
from edgewheel.wheel.landmarks import Reference, degrees_to_tdc, reference, wheel_tdc
from edgewheel.wheel.model import TURN, Track, Wheel
from edgewheel.wheel.wording import degrees

WIDTH = 1000
_MARGIN = 30
_LEFT = 118
_LANE = 38
_LANE_PITCH = 78
_DIMENSION = 22
_LARGEST_RIM = 150
_HEADS = 16
"""A shorter dimension line has its arrow heads outside."""

VIEW = (
    "Seen from the front of the engine, where the crank turns clockwise, at crank angle 0. "
    "Triangles: under the sensor at TDC of these cylinders."
)


def wheel_svg(wheel: Wheel) -> str:
    """The SVG text of one wheel's figure, 1,000 wide."""
    canvas = Canvas()
    ref = reference(wheel)
    canvas.text((_MARGIN, 38), wheel.name, "title")
    canvas.text((_MARGIN, 60), wheel.summary, "")
    canvas.text((_MARGIN, 80), VIEW, "small quiet")
    bottom = _draw_discs(canvas, wheel, ref, 108)
    bottom = _draw_signals(canvas, wheel, ref, bottom + 40)
    return canvas.document(WIDTH, bottom + 20, f"{wheel.name}: {wheel.summary}", STYLE)


def _draw_discs(canvas: Canvas, wheel: Wheel, ref: Reference, top: float) -> float:
    """All discs side by side; returns where they end."""
    room = (WIDTH - 2 * _MARGIN) / len(wheel.tracks)
    rim = min(_LARGEST_RIM, room / 2 - 34)
    middle = top + 34 + rim
    for index, track in enumerate(wheel.tracks):
        centre = (_MARGIN + room * (index + 0.5), middle)
        _draw_disc(canvas, wheel, track, ref, disc_for(track, centre, rim))
        for line, words in enumerate(_caption(track)):
            canvas.text((centre[0], middle + rim + 46 + 16 * line), words, "small mid")
    return middle + rim + 94


def _draw_disc(canvas: Canvas, wheel: Wheel, track: Track, ref: Reference, disc: Disc) -> None:
    marked = marked_tooth_of(track, ref)
    draw_body(canvas, disc, track, marked)
    draw_rotation(canvas, disc)
    draw_numbers(canvas, disc, track, marked)
    if marked is not None and ref.landmark == "gap":
        draw_gaps(canvas, disc, track)
    draw_tdc(canvas, disc, wheel, track)
    draw_sensor(canvas, disc)


def _caption(track: Track) -> tuple[str, str, str]:
    count = len(track.teeth)
    teeth = "1 tooth" if count == 1 else f"{count} teeth"
    shaft = "on the crank" if track.shaft == "crank" else "on a cam, at half speed"
    return f"{track.name}: {teeth}", shaft, _sensor(track)


def _sensor(track: Track) -> str:
    if direction := track.sensor.direction:
        forward, reverse = float(direction.forward_us), float(direction.reverse_us)
        return f"direction sensor: {forward:g} µs forward, {reverse:g} µs in reverse"
    if track.sensor.kind == "vr":
        return "VR sensor"
    return f"Hall sensor, {track.sensor.metal} at metal"


def _draw_signals(canvas: Canvas, wheel: Wheel, ref: Reference, top: float) -> float:
    """The traces under one another, the reference track's dimensions below it."""
    axis = Axis(_LEFT, WIDTH - _LEFT - _MARGIN, wheel.period)
    y = top + 34
    lanes: list[tuple[Track, Lane]] = []
    for track in wheel.tracks:
        lanes.append((track, Lane(y, y + _LANE)))
        y += _LANE_PITCH + (2 * _DIMENSION if track.name == ref.track and wheel.tdc else 0)
    _draw_tdc_lines(canvas, axis, wheel, top + 8, y - 20)
    for track, lane in lanes:
        marked = marked_tooth_of(track, ref)
        if marked is not None:
            if ref.landmark == "gap":
                draw_trace_gaps(canvas, axis, lane, track)
            _draw_dimensions(canvas, axis, wheel, ref, lane)
        draw_trace(canvas, axis, lane, track, trace_looks(axis, track))
        draw_trace_numbers(canvas, axis, lane, track, marked)
        _draw_lane_words(canvas, axis, lane, track)
    draw_degrees(canvas, axis, y - 20)
    return y + 20


def _draw_lane_words(canvas: Canvas, axis: Axis, lane: Lane, track: Track) -> None:
    canvas.text((_MARGIN - 8, lane.middle + 4), track.name, "")
    upper, lower = ("+", "−") if track.sensor.kind == "vr" else ("high", "low")
    canvas.text((axis.left - 7, lane.top + 4), upper, "tiny end quiet")
    canvas.text((axis.left - 7, lane.bottom + 4), lower, "tiny end quiet")


def _draw_tdc_lines(canvas: Canvas, axis: Axis, wheel: Wheel, top: float, bottom: float) -> None:
    for cylinder, angle in wheel.tdc:
        x = axis.x(angle)
        canvas.line((x, top + 5), (x, bottom), "tdc")
        canvas.polygon([(x, top + 9), (x - 5, top), (x + 5, top)], "tdchead")
        canvas.text((x, top - 5), f"TDC {cylinder}", "small mid tdcword")


def _draw_dimensions(canvas: Canvas, axis: Axis, wheel: Wheel, ref: Reference, lane: Lane) -> None:
    """From either edge of the reference tooth to TDC of cylinder 1, below its trace."""
    y = lane.bottom + 24
    for name, edge in _dimensioned(wheel.track(ref.track), ref):
        after = degrees_to_tdc(wheel, edge)
        tdc = wheel_tdc(wheel, 1)
        if edge is None or after is None or tdc is None:
            continue
        canvas.line((axis.x(edge), lane.bottom + 3), (axis.x(edge), y + 5), "thin")
        if 2 * after <= wheel.period:
            begin, length, words = edge, after, f"{name} {degrees(after)} before TDC 1"
        else:
            late = wheel.period - after
            begin, length, words = tdc, late, f"{name} {degrees(late)} after TDC 1"
        _draw_dimension(canvas, axis, y, (begin, begin + length), words)
        y += _DIMENSION
    canvas.text((axis.left - 7, lane.bottom + 28), f"tooth {ref.tooth}", "tiny end quiet")


def _dimensioned(track: Track, ref: Reference) -> tuple[tuple[str, Fraction | None], ...]:
    """The reference tooth's edges by name; of a lone VR tooth only the crossing at its centre.

    Behind a lone tooth the voltage is zero over a long space, so nothing crosses there.
    """
    if track.sensor.kind != "vr":
        return ("rising edge", ref.rise), ("falling edge", ref.fall)
    names = ("rising zero crossing", ref.rise), ("falling zero crossing", ref.fall)
    if ref.rise is None or ref.fall is None:
        return names
    turn, high = track.crank_degrees_per_turn, track.sensor.metal == "high"
    centre, space = (ref.fall, ref.rise) if high else (ref.rise, ref.fall)
    felt = track.teeth[ref.tooth - 1].width * turn / TURN * VR_REACH
    return names if (space - centre) % turn <= felt else (names[high],)


def _draw_dimension(
    canvas: Canvas, axis: Axis, y: float, stretch: tuple[Fraction, Fraction], words: str
) -> None:
    """A dimension line with heads at both ends, going round the end of the period if it must."""
    begin, end = stretch
    right = axis.left + axis.width
    if end <= axis.period:
        left_x, right_x = axis.x(begin), axis.x(end)
        canvas.line((left_x, y), (right_x, y), "thin")
    else:
        left_x, right_x = axis.x(begin), axis.x(end - axis.period)
        canvas.line((left_x, y), (right, y), "thin")
        canvas.line((axis.left, y), (right_x, y), "thin")
    inside = -7 if 0 <= right_x - left_x < _HEADS else 7
    canvas.polygon([(left_x, y), (left_x + inside, y - 3), (left_x + inside, y + 3)], "head")
    canvas.polygon([(right_x, y), (right_x - inside, y - 3), (right_x - inside, y + 3)], "head")
    looks = "small halo"
    x = right_x + (16 if inside < 0 else 8)
    if x + 7 * len(words) > right:
        x, looks = left_x - 8, "small halo end"
    canvas.text((x, y + 4), words, looks)
