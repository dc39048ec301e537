"""The looks that all pictures share. Colours are the page's CSS variables, so one picture serves
light, dark and paper; nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import floor, log10
from typing import Any

Spec = dict[str, Any]

WIDTH = 720
"""Of a picture that does not fill its place, such as one on a page without scripts."""

INK, QUIET, LINE, PAPER = "var(--ink)", "var(--quiet)", "var(--line)", "var(--paper)"
HELD, LOST, NOTE = "var(--held)", "var(--lost)", "var(--note)"

RING = "circle"
CROSS = "M-.8,-.8L.8,.8M.8,-.8L-.8,.8"
FONT = "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif"

CONFIG: Spec = {
    "background": None,
    "font": FONT,
    "view": {"stroke": LINE},
    "axis": {
        "domainColor": QUIET,
        "gridColor": LINE,
        "gridOpacity": 0.6,
        "labelColor": INK,
        "labelFontSize": 12,
        "labelOverlap": True,
        "labelSeparation": 8,
        "tickColor": QUIET,
        "titleColor": INK,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "titlePadding": 8,
    },
    "legend": {
        "labelColor": INK,
        "labelFontSize": 12,
        "labelLimit": 400,
        "orient": "top",
        "symbolStrokeWidth": 2,
        "titleColor": INK,
        "titleFontWeight": "normal",
    },
    "text": {"fill": INK, "fontSize": 12},
    "rule": {"stroke": INK},
    "aria": False,
}


def picture(layers: Sequence[Mapping[str, Any]], height: int = 280, **more: Any) -> Spec:
    """A picture of layers; the first one carries the zoom, if it has a parameter for it."""
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json",
        "width": WIDTH,
        "height": height,
        "padding": 4,
        "autosize": {"type": "fit-x", "contains": "padding"},
        "config": CONFIG,
        "layer": list(layers),
        **more,
    }


def rows(values: Sequence[Mapping[str, Any]]) -> Spec:
    """Data of a layer."""
    return {"values": [dict(value) for value in values]}


def layer(values: Sequence[Mapping[str, Any]], mark: Mapping[str, Any], **encoding: Any) -> Spec:
    """One layer: its data, what is drawn, and what of the data each part of that follows."""
    return {"data": rows(values), "mark": dict(mark), "encoding": encoding}


def axis(
    field: str, title: str, low: float | None = None, high: float | None = None, **more: Any
) -> Spec:
    """A numeric axis; the scale ends at `low` and `high` where they are given."""
    scale: Spec = {"zero": False, "nice": False}
    if low is not None and high is not None:
        scale["domain"] = [low, high]
    more["axis"] = {"tickCount": 8, **more.get("axis", {})}
    return {"field": field, "type": "quantitative", "title": title, "scale": scale, **more}


def outcome(field: str, held: str, lost: str) -> Spec:
    """Colour and shape of marks that are one of two words: a ring and a cross."""
    scale = {"domain": [held, lost]}
    colour = {"field": field, "title": None, "scale": {**scale, "range": [HELD, LOST]}}
    shape = {"field": field, "title": None, "scale": {**scale, "range": [RING, CROSS]}}
    return {"stroke": colour, "shape": shape}


def mark(size: float = 70, **more: Any) -> Spec:
    """Open marks, drawn by their outline, so that one is seen through another."""
    return {
        "type": "point",
        "filled": False,
        "size": size,
        "strokeWidth": 1.8,
        "opacity": 1,
        **more,
    }


def tooltip(*fields: tuple[str, str]) -> list[Spec]:
    """What is read out at a mark: (field, title) of ready words."""
    return [{"field": field, "title": title, "type": "nominal"} for field, title in fields]


def level(
    value: float, axis_name: str, words: str, dash: Sequence[int] = (6, 4), *, left: bool = False
) -> list[Spec]:
    """A line across the picture at a value of "x" or "y", with words at its end.

    The words of a line at an "x" are right of it, or `left`.
    """
    data = rows([{"at": value, "words": words}])
    at = {"field": "at", "type": "quantitative"}
    flat = axis_name == "y"
    text = {"type": "text", "align": "right" if flat or left else "left", "baseline": "bottom"}
    place = {"x": {"value": "width"}} if flat else {"y": {"value": 0}}
    shift = {"dx": -4, "dy": -3} if flat else {"dx": -5 if left else 5, "dy": 14}
    return [
        {
            "data": data,
            "mark": {"type": "rule", "strokeDash": list(dash), "strokeWidth": 1.5, "clip": True},
            "encoding": {axis_name: at},
        },
        {
            "data": data,
            "mark": {**text, **shift, "clip": True},
            "encoding": {axis_name: at, "text": {"field": "words"}, **place},
        },
    ]


def number(value: float, digits: int = 5) -> str:
    """A number as a person writes it: so many digits, no exponent, thousands apart."""
    if not value:
        return "0"
    places = max(digits - 1 - floor(log10(abs(value))), 0)
    text = f"{value:,.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.replace("-", "\N{MINUS SIGN}")


def zoom(*encodings: str) -> list[Spec]:
    """Move by dragging, zoom by the wheel with Shift, so that the page still scrolls."""
    select = {
        "type": "interval",
        "encodings": list(encodings),
        "zoom": "wheel![event.shiftKey]",
    }
    return [{"name": "zoom", "select": select, "bind": "scales"}]
