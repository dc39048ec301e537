"""Where every test of a suite stands, on one scale: how far inside or beyond its limit."""

from __future__ import annotations

from typing import Any

from edgewheel.report.model import Evidence, Picture
from edgewheel.report.pictures.looks import (
    CONFIG,
    HELD,
    INK,
    LOST,
    NOTE,
    Spec,
    axis,
    layer,
    level,
    mark,
    number,
    picture,
    tooltip,
)

MOST = 100.0
"""Percent of the limit at which the scale ends; what lies beyond is drawn at its end."""

ROOM = 6.0
ROW_PX = 24
LABEL_PX = 330
WORDS = ("passed", "marginal", "failed")
SHAPES = ["circle", "triangle-up", "M-.8,-.8L.8,.8M.8,-.8L-.8,.8"]


def draw(evidence: Evidence) -> Picture | None:
    """ "tests" ({"title", "grade", "value", "low", "high", "limit", "sense", "told"})."""
    values = [value for test in evidence["tests"] if (value := _value(test)) is not None]
    if len(values) < 2:
        return None
    order = [value["title"] for value in values]
    y: Spec = {"field": "title", "type": "nominal", "title": None, "sort": order}
    y["axis"] = {"grid": True, "ticks": False}
    ticks = {"values": [-100, -50, 0, 50, 100], "labelExpr": _TICKS, "labelAlign": _AT_END}
    x = axis(
        "value",
        "percent of the limit, inside it to the right",
        -MOST - ROOM,
        MOST + ROOM,
        axis=ticks,
    )
    known = [value for value in values if value["low"] < value["high"]]
    ends = {"x": {**x, "field": "low"}, "x2": {"field": "high"}}
    layers = [
        layer(known, {"type": "rule", "stroke": INK, "strokeWidth": 1.4}, **ends, y=y),
        layer(values, mark(85, strokeWidth=2.4), x=x, y=y, **_grades(), tooltip=_READ_OUT),
        *level(0.0, "x", "limit", (1, 0)),
    ]
    config = {**CONFIG, "axisY": {"labelLimit": LABEL_PX}}
    failed = sum(value["value"] < 0 for value in values)
    return Picture(
        "Where every test stands",
        f"{len(values)} tests on one scale: {failed} of them lie beyond their limit, at worst by "
        f"{number(max(-min(value['value'] for value in values), 0.0), 2)} percent of it.",
        "Each mark is what was measured, as percent of its limit: right of the line is inside, "
        "left of it beyond. The stroke is the 95 % interval. A mark at the right end is at least "
        "twice as good as asked, or never failed; a cross at the left end failed wherever it was "
        "tried. Tests without a limit to compare with are only in the table.",
        picture(layers, ROW_PX * len(values), config=config),
    )


def _grades() -> Spec:
    """Colour and shape by verdict."""
    colour = {"domain": list(WORDS), "range": [HELD, NOTE, LOST]}
    shape = {"domain": list(WORDS), "range": SHAPES}
    return {
        "stroke": {"field": "grade", "title": None, "scale": colour},
        "shape": {"field": "grade", "title": None, "scale": shape},
    }


def _without_number(test: Any) -> dict[str, Any] | None:
    """A test that failed wherever it was tried stands at the bad end; others say too little."""
    if test["grade"] != "failed":
        return None
    told = "it failed at every value, or now and then at all of them"
    ends = {"value": -MOST, "low": -MOST, "high": -MOST}
    return {"title": test["title"], "grade": "failed", "told": told, "at": "no number", **ends}


_READ_OUT = tooltip(("title", "test"), ("grade", "verdict"), ("told", "measured"), ("at", "margin"))
_TICKS = (
    "datum.value == 0 ? 'limit' : datum.value == 100 ? 'twice as good' : "
    "(datum.value > 0 ? '+' : '') + datum.value + ' %'"
)
_AT_END = {"condition": {"test": "datum.value == 100", "value": "right"}, "value": "center"}
"""The words at the end of the scale would reach beyond the picture."""


def _value(test: Any) -> dict[str, Any] | None:
    if test["grade"] not in WORDS or not test["limit"]:
        return None
    if test["value"] is None:
        return _without_number(test)
    sign = -1 if test["sense"] == "at_most" else 1

    def margin(value: float) -> float:
        percent = sign * (value - test["limit"]) / abs(test["limit"]) * 100
        return float(max(min(percent, MOST), -MOST))

    open_end = {"low": float("-inf"), "high": float("inf")}
    ends = [
        margin(open_end[key] if test.get(key) is None else float(test[key])) for key in open_end
    ]
    here = margin(float(test["value"]))
    return {
        "title": test["title"],
        "grade": test["grade"],
        "value": here,
        "low": min(ends),
        "high": max(ends),
        "told": test["told"],
        "at": f"{number(here, 3)} % of the limit inside"
        if here >= 0
        else f"{number(-here, 3)} % of the limit beyond",
    }
