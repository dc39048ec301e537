"""One sheet with every wheel of the library: its discs and its signals, small, in groups."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from edgewheel.wheel.drawing.disc import disc_for, draw_body, marked_tooth_of
from edgewheel.wheel.drawing.style import STYLE
from edgewheel.wheel.drawing.svg import Canvas
from edgewheel.wheel.drawing.traces import Axis, Lane, draw_trace, trace_looks
from edgewheel.wheel.landmarks import reference, wheel_tdc
from edgewheel.wheel.library import Entry
from edgewheel.wheel.model import Wheel

_COLUMNS = 4
_CELL = 300
_GUTTER = 24
_MARGIN = 30
_RIM = 38
_DISCS = 2 * _RIM + 14
_LANE = 13
_LANE_PITCH = 21
_HEADING = 40

SHEET_WIDTH = 2 * _MARGIN + _COLUMNS * _CELL + (_COLUMNS - 1) * _GUTTER

NOTE = (
    "Seen from the front of the engine, where the crank turns clockwise, at crank angle 0 with the "
    "sensor at the top. Below, one period as the controller's pin sees it; dashed: TDC 1."
)


def sheet_svg(entries: Sequence[Entry]) -> str:
    """The SVG text of the sheet; the wheels in the order given, a heading for each group."""
    canvas = Canvas()
    canvas.text((_MARGIN, 42), f"The {len(entries)} wheels of the library", "title")
    canvas.text((_MARGIN, 64), NOTE, "small quiet")
    y = 80.0
    for group, members in groupby(entries, key=lambda entry: entry.wheel.group):
        canvas.text((_MARGIN, y + 26), group, "heading")
        canvas.line((_MARGIN, y + 33), (SHEET_WIDTH - _MARGIN, y + 33), "thin")
        y = _draw_group(canvas, list(members), y + _HEADING)
    return canvas.document(SHEET_WIDTH, y + 20, "Every wheel of the library", STYLE)


def _draw_group(canvas: Canvas, entries: list[Entry], top: float) -> float:
    """Rows of cells, each as high as its highest; returns where they end."""
    for first in range(0, len(entries), _COLUMNS):
        row = entries[first : first + _COLUMNS]
        for column, entry in enumerate(row):
            with canvas.moved(_MARGIN + column * (_CELL + _GUTTER), top):
                _draw_cell(canvas, entry)
        top += max(_cell_height(entry.wheel) for entry in row)
    return top


def _cell_height(wheel: Wheel) -> float:
    return 24 + _DISCS + len(wheel.tracks) * _LANE_PITCH + 14


def _draw_cell(canvas: Canvas, entry: Entry) -> None:
    wheel, ref = entry.wheel, reference(entry.wheel)
    canvas.text((0, 14), entry.stem, "name")
    room = _CELL / max(len(wheel.tracks), 2)
    rim = min(_RIM, room / 2 - 5)
    axis = Axis(0, _CELL, wheel.period)
    for index, track in enumerate(wheel.tracks):
        disc = disc_for(track, (room * (index + 0.5), 24 + _DISCS / 2), rim)
        draw_body(canvas, disc, track, marked_tooth_of(track, ref))
        lane_top = 24 + _DISCS + index * _LANE_PITCH + 4
        draw_trace(canvas, axis, Lane(lane_top, lane_top + _LANE), track, trace_looks(axis, track))
    tdc = wheel_tdc(wheel, 1)
    if tdc is not None:
        bottom = 24 + _DISCS + len(wheel.tracks) * _LANE_PITCH
        canvas.line((axis.x(tdc), 24 + _DISCS - 2), (axis.x(tdc), bottom), "tdc")
