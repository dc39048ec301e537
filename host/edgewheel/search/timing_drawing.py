"""Timing errors over speed as an SVG drawing: points by run, the line of angle and delay."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, floor, isnan, log10

from edgewheel.bench.timing.rows import Row
from edgewheel.bench.timing.separate import without_turn
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.search.timing import Timing
from edgewheel.wheel.drawing.style import STYLE
from edgewheel.wheel.drawing.svg import Canvas, Point

WIDTH, HEIGHT = 760.0, 420.0
LEFT, RIGHT, TOP, BOTTOM = 70.0, 20.0, 56.0, 52.0
STEPS = 5
_TURN_OFF = "; a whole turn is taken off"


class _Axes:
    """Where a speed and an error stand on the sheet; both axes end at round numbers."""

    def __init__(self, speeds: list[float], errors: list[float]) -> None:
        self.step_rpm = _round_step(max(speeds))
        self.high_rpm = self.step_rpm * ceil(max(speeds) * 1.02 / self.step_rpm)
        least, most = min([*errors, -0.1]), max([*errors, 0.1])
        self.step_deg = _round_step(most - least)
        self.low_deg = self.step_deg * floor(least / self.step_deg)
        self.high_deg = self.step_deg * ceil(most / self.step_deg)

    def at(self, rpm: float, deg: float) -> Point:
        across = rpm / self.high_rpm
        up = (deg - self.low_deg) / (self.high_deg - self.low_deg)
        return (
            LEFT + across * (WIDTH - LEFT - RIGHT),
            HEIGHT - BOTTOM - up * (HEIGHT - TOP - BOTTOM),
        )


def drawing(timing: Timing) -> str:
    """An SVG document; rows without a known error are left out, and said to be if all are."""
    rows = [
        replace(row, error_deg=without_turn(row.error_deg, timing.ignition.turn))
        for row in timing.rows
        if row.kind != "tacho" and not isnan(row.error_deg)
    ]
    canvas = Canvas()
    title = "Timing error over speed"
    canvas.text((LEFT, 26), title, "heading")
    unit = "measured minus commanded, degrees; positive is too early"
    canvas.text((LEFT, 44), unit + (_TURN_OFF if timing.ignition.turn == "wrong" else ""), "small")
    if not rows:
        canvas.text((LEFT, HEIGHT / 2), "The commanded advance is not known: no error.", "")
        return canvas.document(WIDTH, HEIGHT, title, STYLE)
    axes = _Axes([abs(row.rpm) for row in rows], [row.error_deg for row in rows])
    _grid(canvas, axes)
    _line(canvas, axes, timing)
    for row in rows:
        _point(canvas, axes.at(abs(row.rpm), row.error_deg), row)
    _legend(canvas, timing)
    return canvas.document(WIDTH, HEIGHT, title, STYLE)


def _grid(canvas: Canvas, axes: _Axes) -> None:
    for step in range(round((axes.high_deg - axes.low_deg) / axes.step_deg) + 1):
        deg = axes.low_deg + step * axes.step_deg
        canvas.line(axes.at(0, deg), axes.at(axes.high_rpm, deg), "zero")
        x, y = axes.at(0, deg)
        canvas.text((x - 8, y + 4), f"{deg:+g}" if abs(deg) > 1e-9 else "0", "small end")
    for step in range(round(axes.high_rpm / axes.step_rpm) + 1):
        x, y = axes.at(step * axes.step_rpm, axes.low_deg)
        canvas.text((x, y + 16), f"{step * axes.step_rpm:g}", "small mid")
    canvas.line(axes.at(0, 0), axes.at(axes.high_rpm, 0), "thin")
    canvas.text((WIDTH - RIGHT, HEIGHT - 14), "rpm", "small end")


def _line(canvas: Canvas, axes: _Axes, timing: Timing) -> None:
    """What the reference error and the delay together make of the error."""
    found = timing.ignition
    if found.reference_deg is None or found.delay_us is None:
        return
    begin = found.reference_deg.value
    end = begin - DEG_PER_S_PER_RPM * axes.high_rpm * found.delay_us.value * 1e-6
    canvas.line(axes.at(0, begin), axes.at(axes.high_rpm, end), "tdc")


def _point(canvas: Canvas, at: Point, row: Row) -> None:
    """Runs differ in shape, not in colour alone; speeds that change are drawn small."""
    x, y = at
    size = 4.0 if row.steady else 2.0
    shape = row.run % 3
    if shape == 1:
        canvas.circle(at, size, "mark")
    elif shape == 2:
        canvas.box((x - size, y - size), 2 * size, 2 * size, "hole")
    else:
        canvas.polygon([(x, y - size), (x + size, y + size), (x - size, y + size)], "metal")


def _legend(canvas: Canvas, timing: Timing) -> None:
    marks = {1: "dots", 2: "boxes", 0: "triangles"}
    words = [f"run {run.number}: {marks[run.number % 3]}" for run in timing.runs]
    canvas.text((WIDTH - RIGHT, 26), ", ".join(words), "small end")
    note = "dashed: what reference angle and delay make, on the right edge"
    canvas.text((LEFT, HEIGHT - 14), note, "small")


def _round_step(length: float) -> float:
    """1, 2 or 5 times a power of ten, some `STEPS` of which make the length."""
    power = 10.0 ** floor(log10(length / STEPS))
    return next(power * n for n in (1, 2, 5, 10) if power * n * STEPS >= length)
