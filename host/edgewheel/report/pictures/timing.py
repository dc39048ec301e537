"""Timing error over speed, and what reference angle and delay make of it."""

from __future__ import annotations

from typing import Any

from edgewheel.bench.timing.separate import Share, without_turn
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
    INK,
    NOTE,
    QUIET,
    Spec,
    axis,
    layer,
    level,
    mark,
    number,
    picture,
    rows,
    tooltip,
    zoom,
)
from edgewheel.report.words import several

SHAPES = ["circle", "square", "triangle-up", "diamond", "triangle-down", "cross"]
_TURN_OFF = " The whole turn by which all are out is taken off."

_READ_OUT = tooltip(("line", "output"), ("at", "speed"), ("told", "error"), ("count", "events"))


def draw(evidence: Evidence) -> Picture:
    """ "rows" as `edgewheel timing --json` has them; "ignition" beside it gives the line."""
    turn = (evidence.get("ignition") or {}).get("turn", "unknown")
    values = [_value(row, turn) for row in _told(evidence["rows"])]
    errors = [value["error"] for value in values] or [0.0]
    scatter = max((value["scatter"] for value in values), default=0.0)
    margin = max((max(errors) - min(errors)) * 0.15, scatter * 1.2, 0.2)
    low, high = min([*errors, 0.0]) - margin, max([*errors, 0.0]) + margin
    top = max((value["rpm"] for value in values), default=1000.0) * 1.05
    x = axis("rpm", "speed, rpm", 0, top)
    y = axis("error", "too late  \N{MINUS SIGN}  error, degrees  +  too early", low, high)
    names = sorted({value["line"] for value in values})
    shapes = {"domain": names, "range": (SHAPES * len(names))[: len(names)]}
    shape: Spec = {"field": "line", "title": None, "type": "nominal", "scale": shapes}
    stroke = {"type": "rule", "stroke": QUIET, "clip": True}
    scatters = layer(values, stroke, x=x, y={**y, "field": "below"}, y2={"field": "above"})
    marks = layer(values, mark(55, stroke=INK, clip=True), x=x, y=y, shape=shape, tooltip=_READ_OUT)
    layers = [
        {"params": zoom("x", "y"), **scatters},
        marks,
        *_line(evidence.get("ignition"), top, x, y),
        *level(0.0, "y", "as commanded", (1, 0)),
    ]
    worst = max(errors, key=abs)
    return Picture(
        "Timing error against speed",
        f"{several(len(values), 'point')} of timing error from 0 to {number(top, 4)} rpm; the "
        f"largest is {number(worst, 3)} degrees.",
        "Each mark is one output at one speed: measured minus commanded angle, positive is too "
        "early; the stroke through it is one standard deviation to either side. The dashed line "
        "is what a wrong reference angle and a fixed delay make of it."
        + _TURN_OFF
        * (turn == "wrong"),
        picture(layers, 300),
        _table(values),
    )


def _told(rows: Any) -> list[Any]:
    """The rows of a known error; at steady speeds, if there are any.

    While the speed changes, the scatter is mostly that of the speed.
    """
    known = [row for row in rows if row.get("error_deg") is not None and row.get("kind") != "tacho"]
    return [row for row in known if row.get("steady", True)] or known


def _value(row: Any, turn: Share) -> dict[str, Any]:
    error, scatter = without_turn(row["error_deg"], turn), float(row.get("scatter_deg") or 0)
    rpm = float(row["rpm"]) if "rpm" in row else (row["rpm_from"] + row["rpm_to"]) / 2
    return {
        "rpm": abs(rpm),
        "error": error,
        "scatter": scatter,
        "below": error - scatter,
        "above": error + scatter,
        "line": str(row["line"]),
        "at": f"{number(rpm)} rpm",
        "told": f"{number(error, 4)} degrees, scatter {number(scatter, 3)}",
        "count": str(row.get("count", "")),
    }


def _line(ignition: Any, top: float, x: Spec, y: Spec) -> list[Spec]:
    """The error that a reference angle and a delay give: begin and end."""
    if not ignition or not ignition.get("reference_deg") or not ignition.get("delay_us"):
        return []
    begin = float(ignition["reference_deg"]["value"])
    end = begin - DEG_PER_S_PER_RPM * top * float(ignition["delay_us"]["value"]) * 1e-6
    return [
        {
            "data": rows([{"rpm": 0, "error": begin}, {"rpm": top, "error": end}]),
            "mark": {"type": "line", "stroke": NOTE, "strokeDash": [7, 4], "clip": True},
            "encoding": {"x": x, "y": y},
        }
    ]


def _table(values: list[dict[str, Any]]) -> Table:
    told = tuple(
        (v["line"], v["at"], number(v["error"], 4), number(v["scatter"], 3), v["count"])
        for v in values
    )
    head = ("output", "speed", "error, degrees", "scatter, degrees", "events")
    return Table("Every point", head, told)
