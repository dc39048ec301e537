"""Points of any two numbers, each passed or not, and a line through them where there is one."""

from __future__ import annotations

from typing import Any

from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
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

PASSED, FAILED = "passed", "failed"
WITHIN, BEYOND = "within the limit", "beyond it"


def draw(evidence: Evidence) -> Picture:
    """ "x" and "y" ({"name", "unit"}), "points" ({"x", "y", "passed"}), maybe "limit" and "sense".

    With a limit, its side is the verdict over a point, without one whether the trial passed.
    """
    points = [p for p in evidence["points"] if p.get("x") is not None and p.get("y") is not None]
    never = len(evidence["points"]) - len(points)
    x_title, y_title = _title(evidence["x"]), _title(evidence["y"])
    limit = evidence.get("limit")
    xs = [float(p["x"]) for p in points] or [0.0, 1.0]
    ys = [float(p["y"]) for p in points] + ([] if limit is None else [float(limit)])
    x, y = axis("x", x_title, *_span(xs)), axis("y", y_title, *_span(ys or [0.0, 1.0]))
    held, lost = (PASSED, FAILED) if limit is None else (WITHIN, BEYOND)
    values = [_value(p, held if _held(p, evidence) else lost) for p in points]
    read_out = tooltip(("xt", x_title), ("yt", y_title), ("what", "verdict"))
    verdict = outcome("what", held, lost)
    layers = [layer(values, mark(clip=True), x=x, y=y, **verdict, tooltip=read_out)]
    layers[0] = {"params": zoom("x", "y"), **layers[0]}
    if limit is not None:
        layers += level(float(limit), "y", f"limit {number(float(limit))}")
    failed = sum(value["what"] == lost for value in values)
    return Picture(
        f"{y_title[:1].upper()}{y_title[1:]} against {x_title}",
        f"{several(len(values), 'point')} of {y_title} against {x_title}; {failed} of them {lost}.",
        f"Rings {held}, crosses {lost}."
        + (f" {several(never, 'trial')} without an end not drawn." if never else ""),
        picture(layers, 280),
        Table(
            "Every point",
            (x_title, y_title, "verdict"),
            tuple((v["xt"], v["yt"], v["what"]) for v in values),
        ),
    )


def _held(point: Any, evidence: Evidence) -> bool:
    limit = evidence.get("limit")
    if limit is None:
        return bool(point.get("passed", True))
    below = float(point["y"]) <= float(limit)
    return below if evidence.get("sense") == "at_most" else float(point["y"]) >= float(limit)


def _value(point: Any, what: str) -> dict[str, Any]:
    x, y = float(point["x"]), float(point["y"])
    return {"x": x, "y": y, "what": what, "xt": number(x), "yt": number(y)}


def _title(one: Any) -> str:
    name, unit = str(one["name"]), str(one.get("unit") or "")
    return f"{name}, {unit}" if unit and unit not in name.split() else name


def _span(values: list[float]) -> tuple[float, float]:
    margin = (max(values) - min(values)) * 0.08 or abs(values[0]) * 0.1 or 1.0
    return min(values) - margin, max(values) + margin
