"""Points of any two numbers, each passed or not, and a line through them where there is one."""

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

PASSED, FAILED = "within the limit", "beyond it"


def draw(evidence: Evidence) -> Picture:
    """ "x" and "y" ({"name", "unit"}), "points" ({"x", "y", "passed"}), maybe "line", "limit"."""
    points = [p for p in evidence["points"] if p.get("x") is not None and p.get("y") is not None]
    x_title, y_title = _title(evidence["x"]), _title(evidence["y"])
    line = evidence.get("line") or []
    limit = evidence.get("limit")
    xs = [float(p["x"]) for p in [*points, *line]] or [0.0, 1.0]
    ys = [float(p["y"]) for p in [*points, *line]] + ([] if limit is None else [float(limit)])
    x, y = axis("x", x_title, *_span(xs)), axis("y", y_title, *_span(ys or [0.0, 1.0]))
    values = [_value(point) for point in points]
    read_out = tooltip(("xt", x_title), ("yt", y_title), ("what", "verdict"))
    verdict = outcome("what", PASSED, FAILED)
    layers = [layer(values, mark(clip=True), x=x, y=y, **verdict, tooltip=read_out)]
    if line:
        path = {"type": "line", "stroke": QUIET, "strokeDash": [7, 4], "clip": True}
        places = [{"x": float(p["x"]), "y": float(p["y"])} for p in line]
        layers.insert(0, layer(places, path, x=x, y=y))
    layers[0] = {"params": zoom("x", "y"), **layers[0]}
    if limit is not None:
        layers += level(float(limit), "y", f"limit {number(float(limit))}")
    failed = sum(value["what"] == FAILED for value in values)
    return Picture(
        f"{y_title[:1].upper()}{y_title[1:]} against {x_title}",
        f"{several(len(values), 'point')} of {y_title} against {x_title}; {failed} of them beyond "
        "the limit.",
        "Rings are within the limit, crosses beyond it.",
        picture(layers, 280),
        Table(
            "Every point",
            (x_title, y_title, "verdict"),
            tuple((v["xt"], v["yt"], v["what"]) for v in values),
        ),
    )


def _value(point: Any) -> dict[str, Any]:
    x, y = float(point["x"]), float(point["y"])
    what = PASSED if point.get("passed", True) else FAILED
    return {"x": x, "y": y, "what": what, "xt": number(x), "yt": number(y)}


def _title(one: Any) -> str:
    name, unit = str(one["name"]), str(one.get("unit") or "")
    name = name.removesuffix("_" + {"degrees": "deg"}.get(unit, unit)).replace("_", " ")
    return f"{name}, {unit}" if unit and unit != name else name


def _span(values: list[float]) -> tuple[float, float]:
    margin = (max(values) - min(values)) * 0.08 or abs(values[0]) * 0.1 or 1.0
    return min(values) - margin, max(values) + margin
