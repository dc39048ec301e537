"""A sweep: the staircase of speeds, and where sync held."""

from __future__ import annotations

from typing import Any

from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
    QUIET,
    axis,
    layer,
    level,
    mark,
    number,
    outcome,
    picture,
    tooltip,
    zoom,
)
from edgewheel.report.words import several

HELD, LOST = "held sync", "no sync"
WAYS = {"up": "on the way up", "down": "on the way down"}


def draw(evidence: Evidence) -> Picture:
    """ "points" ({"way", "rpm", "synced", "detail"}) in the order played, "highest_rpm" or null."""
    points = evidence["points"]
    values = [_value(number_, point) for number_, point in enumerate(points, 1)]
    speeds = [float(point["rpm"]) for point in points] or [0.0]
    margin = (max(speeds) - min(speeds)) * 0.08 or 100.0
    x = axis("n", "step of the staircase", 0, len(points) + 1)
    y = axis("rpm", "speed, rpm", min(speeds) - margin, max(speeds) + margin)
    line = layer(
        values, {"type": "line", "interpolate": "step", "stroke": QUIET, "clip": True}, x=x, y=y
    )
    marks = layer(
        values,
        mark(95, clip=True, strokeWidth=2.2),
        x=x,
        y=y,
        **outcome("what", HELD, LOST),
        tooltip=tooltip(("speed", "speed"), ("way", "when"), ("what", "outcome"), ("told", "seen")),
    )
    layers = [{"params": zoom("x", "y"), **line}, marks]
    highest = evidence.get("highest_rpm")
    if highest is not None:
        layers += level(float(highest), "y", f"held up to {number(float(highest))} rpm")
    lost = sum(not point["synced"] for point in points)
    return Picture(
        "Speed by speed, up and down again",
        f"A staircase of {several(len(points), 'speed')} up and down: sync held at "
        f"{len(points) - lost} of them and not at {lost}.",
        "A step is a speed that was held for a while: a ring where the controller kept sync, a "
        "cross where it did not, or lost it on the way there.",
        picture(layers, 300),
        Table(
            "Every step",
            ("step", "when", "speed, rpm", "outcome", "what was seen"),
            tuple((str(v["n"]), v["way"], v["speed"], v["what"], v["told"]) for v in values),
        ),
    )


def _value(step: int, point: Any) -> dict[str, Any]:
    return {
        "n": step,
        "rpm": float(point["rpm"]),
        "speed": number(float(point["rpm"])),
        "way": WAYS.get(point["way"], str(point["way"])),
        "what": HELD if point["synced"] else LOST,
        "told": str(point.get("detail") or ""),
    }
