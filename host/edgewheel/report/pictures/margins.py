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

ROOM = 8.0
ROW_PX = 32
LABEL_PX = 240
LINE_CHARACTERS = 26
"""A longer title stands on two lines."""

WORDS = ("passed", "marginal", "failed")
SHAPES = ["circle", "triangle-up", "M-.8,-.8L.8,.8M.8,-.8L-.8,.8"]


def draw(evidence: Evidence) -> Picture | None:
    """ "tests" ({"title", "grade", "value", "low", "high", "limit", "sense", "told"})."""
    values = [value for test in evidence["tests"] if (value := _value(test)) is not None]
    if len(values) < 2:
        return None
    order = [value["row"] for value in values]
    y: Spec = {"field": "row", "type": "nominal", "title": None, "sort": order}
    y["axis"] = {"grid": True, "ticks": False, "labelOverlap": False, **_TITLES}
    ticks = {"values": [-100, -50, 0, 50, 100], "labelExpr": _TICKS, "labelAlign": _AT_END}
    x = axis("value", "percent of the limit", -MOST - ROOM, MOST + ROOM, axis=ticks)
    known = [value for value in values if value["low"] < value["high"]]
    ends = {"x": {**x, "field": "low"}, "x2": {"field": "high"}}
    layers = [
        layer(known, {"type": "rule", "stroke": INK, "strokeWidth": 1.4}, **ends, y=y),
        layer(values, mark(85, strokeWidth=2.4), x=x, y=y, **_grades(), tooltip=_READ_OUT),
        *level(0.0, "x", "", (1, 0)),
    ]
    config = {**CONFIG, "axisY": {"labelLimit": LABEL_PX}}
    beyond = [-value["value"] for value in values if value["value"] < 0]
    worst = f", at worst by {number(max(beyond), 2)} percent of it" if beyond else ""
    return Picture(
        "Where every test stands",
        f"{len(values)} tests on one scale: {len(beyond)} of them lie beyond their limit{worst}.",
        "Each mark is what was measured, as percent of its limit: right of the line is inside, "
        "left of it beyond. The stroke is the 95 % interval. A mark at an end lies there or "
        "further out; one at the right end may never have failed, a cross at the left end may have "
        "failed wherever it was tried. Tests whose limit is 0 are only in the table.",
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
    """A test that failed without any number stands at the bad end; others say too little."""
    if test["grade"] != "failed":
        return None
    told = test["told"] or "it failed at every value, or now and then at all of them"
    return _mark(test, -MOST, (-MOST, -MOST), told, "no number")


def _mark(
    test: Any, value: float, ends: tuple[float, float], told: str, margin: str
) -> dict[str, Any]:
    """A row of the picture; value and ends of the interval in percent of the limit."""
    return {
        "row": _two_lines(test["title"]),
        "title": test["title"],
        "grade": test["grade"],
        "value": value,
        "low": ends[0],
        "high": ends[1],
        "told": told,
        "at": margin,
    }


def _two_lines(title: str) -> str:
    """A long title broken at the space nearest to its middle."""
    spaces = [place for place, letter in enumerate(title) if letter == " "]
    if len(title) <= LINE_CHARACTERS or not spaces:
        return title
    middle = min(spaces, key=lambda place: abs(2 * place - len(title)))
    return f"{title[:middle]}\n{title[middle + 1 :]}"


_READ_OUT = tooltip(("title", "test"), ("grade", "verdict"), ("told", "measured"), ("at", "margin"))
_TITLES = {
    "labelExpr": "split(datum.label, '\\n')",
    "labelOffset": {
        "condition": {"test": "indexof(datum.label, '\\n') > 0", "value": -7},
        "value": 0,
    },
}
"""Two lines are raised by half of one, so that they lie on both sides of their mark."""

_TICKS = "datum.value == 0 ? 'limit' : (datum.value > 0 ? '+' : '') + datum.value + ' %'"
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
    side = "inside" if here >= 0 else "beyond"
    at = f"{number(abs(here), 3)} % of the limit {side}"
    return _mark(test, here, (min(ends), max(ends)), test["told"], at)
