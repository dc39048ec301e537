"""The envelope: where sync holds over two numbers, with every trial."""

from __future__ import annotations

from typing import Any

from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
    HELD,
    LINE,
    LOST,
    Spec,
    axis,
    mark,
    number,
    outcome,
    picture,
    rows,
    tooltip,
    zoom,
)
from edgewheel.report.words import axis_words
from edgewheel.search.border import Border, Point

INSIDE, OUTSIDE, BETWEEN = "sync holds", "it does not", "on the border"


def draw(evidence: Evidence) -> Picture:
    """`Envelope.as_data()`."""
    x, y, trials = evidence["x"], evidence["y"], evidence["trials"]
    x_words, y_words = axis_words(x["address"]), axis_words(y["address"])
    share = float(evidence["area_in_sync"])
    axes = {
        "x": axis("x", x_words, x["from"], x["to"]),
        "y": axis("y", y_words, y["from"], y["to"]),
    }
    layers = [_trials(trials, axes, x_words, y_words)]
    border = border_of(evidence)
    if border is not None:
        layers.insert(0, _squares(border, evidence, axes))
    layers[0] = {"params": zoom("x", "y"), **layers[0]}
    told = tuple(
        (number(t["x"], 6), number(t["y"], 6), INSIDE if t["synced"] else OUTSIDE) for t in trials
    )
    return Picture(
        f"Where sync holds: {x_words} against {y_words}",
        f"A map of {x_words} across and {y_words} upwards, from {len(trials)} trials: sync holds "
        f"in {share:.1%} of it.",
        "Rings are trials that held sync, crosses trials that did not. Shaded squares say what "
        "follows for the places between them: the border was refined where trials disagree.",
        picture(layers, 420, resolve={"scale": {"color": "independent"}}),
        Table("Every trial", (x_words, y_words, "outcome"), told),
    )


def _trials(trials: Any, axes: Spec, x_words: str, y_words: str) -> Spec:
    values = [
        {
            "x": trial["x"],
            "y": trial["y"],
            "what": INSIDE if trial["synced"] else OUTSIDE,
            "xt": number(trial["x"], 6),
            "yt": number(trial["y"], 6),
        }
        for trial in trials
    ]
    return {
        "data": rows(values),
        "mark": mark(34, clip=True, strokeWidth=1.4),
        "encoding": {
            **axes,
            **outcome("what", INSIDE, OUTSIDE),
            "tooltip": tooltip(("xt", x_words), ("yt", y_words), ("what", "outcome")),
        },
    }


def _squares(border: Border, evidence: Evidence, axes: Spec) -> Spec:
    """The squares of the map, tinted by what is inside them."""
    x, y = evidence["x"], evidence["y"]
    values = []
    for square in border.squares:
        inside = sum(map(border.value, square.corners())) / 4
        values.append(
            {
                "x": _value(x, square.column / border.size),
                "x2": _value(x, (square.column + square.side) / border.size),
                "y": _value(y, square.row / border.size),
                "y2": _value(y, (square.row + square.side) / border.size),
                "in": INSIDE if inside > 0.5 else OUTSIDE if inside < 0.5 else BETWEEN,
            }
        )
    colour = {"domain": [INSIDE, OUTSIDE, BETWEEN], "range": [HELD, LOST, LINE]}
    return {
        "data": rows(values),
        "mark": {"type": "rect", "fillOpacity": 0.22, "clip": True, "tooltip": None},
        "encoding": {
            **axes,
            "x2": {"field": "x2"},
            "y2": {"field": "y2"},
            "fill": {"field": "in", "type": "nominal", "scale": colour, "legend": None},
        },
    }


def border_of(evidence: Evidence) -> Border | None:
    """The map that asked for exactly these trials; None if they are not such a map's.

    How coarsely it began is not in the evidence, so every beginning is tried.
    """
    size = int(evidence["steps"])
    known: dict[Point, bool] = {
        (_step(evidence["x"], t["x"], size), _step(evidence["y"], t["y"], size)): bool(t["synced"])
        for t in evidence["trials"]
    }
    depth = size.bit_length() - 1
    for coarse in range(depth + 1):
        border = Border(depth, coarse)
        if _replayed(border, known):
            return border
    return None


def _replayed(border: Border, known: dict[Point, bool]) -> bool:
    while points := border.pending():
        for point in points:
            if point not in known:
                return False
            border.tell(point, known[point])
    return len(border.known) == len(known)


def _step(axis_data: Any, value: float, size: int) -> int:
    low, high = float(axis_data["from"]), float(axis_data["to"])
    return round((value - low) / (high - low) * size)


def _value(axis_data: Any, share: float) -> float:
    return float(axis_data["from"] + share * (axis_data["to"] - axis_data["from"]))
