"""A run: the true speed, the speed that the controller reported, and what happened when."""

from __future__ import annotations

from typing import Any

from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
    HELD,
    INK,
    LOST,
    NOTE,
    QUIET,
    Spec,
    axis,
    mark,
    number,
    picture,
    rows,
    tooltip,
    zoom,
)
from edgewheel.report.words import several

KINDS = {
    "gained": "sync found",
    "lost": "sync lost",
    "cut": "sparks cut",
    "sparks": "sparks back",
    "pulses_missing": "captured edges missing",
}
UP, BOX = "triangle-up", "square"
CROSS = "M-.8,-.8L.8,.8M.8,-.8L-.8,.8"
MARKS = {
    "sync found": (HELD, UP),
    "sync lost": (LOST, CROSS),
    "sparks cut": (NOTE, BOX),
    "sparks back": (NOTE, UP),
    "captured edges missing": (LOST, BOX),
}
TRUE, REPORTED = "true speed", "reported by the controller"


def draw(evidence: Evidence) -> Picture:
    """ "true" and "reported" ([seconds, rpm]), "findings" ({"seconds", "rpm", "kind", "told"})."""
    true, reported, found = evidence["true"], evidence["reported"], evidence["findings"]
    speeds = [rpm for _, rpm in true or reported] or [0.0]
    top = max(speeds) * 1.12 or 100.0
    end_s = max([seconds for seconds, _ in [*true, *reported]], default=1.0)
    x = axis("s", "time, seconds", 0, end_s)
    y = axis("rpm", "speed, rpm", 0, top)
    both = {"domain": [TRUE, REPORTED]}
    dash: Spec = {"field": "what", "title": None, "scale": {**both, "range": [[1, 0], [3, 3]]}}
    colour: Spec = {"field": "what", "legend": None, "scale": {**both, "range": [QUIET, INK]}}
    lines = [{"s": s, "rpm": rpm, "what": TRUE} for s, rpm in true]
    lines += [{"s": s, "rpm": min(rpm, 2 * top), "what": REPORTED} for s, rpm in reported]
    layers: list[Spec] = [
        {
            "params": zoom("x", "y"),
            "data": rows(lines),
            "mark": {"type": "line", "clip": True, "strokeWidth": 1.8},
            "encoding": {"x": x, "y": y, "stroke": colour, "strokeDash": dash},
        },
        _findings(found, x, y),
    ]
    rows_ = tuple(
        (number(f["seconds"]), number(f["rpm"], 4), KINDS.get(f["kind"], f["kind"]), f["told"])
        for f in found
    )
    return Picture(
        "Speed, and what happened when",
        f"The speed over {number(end_s, 3)} seconds, up to {number(max(speeds), 4)} rpm; sync "
        f"was lost {several(sum(f['kind'] == 'lost' for f in found), 'time')}.",
        "The solid line is the true speed on the pins, the dotted one what the controller reports. "
        "A triangle marks where it found sync, a cross where it lost it.",
        picture(layers, 300, resolve={"scale": {"shape": "independent", "stroke": "independent"}}),
        Table("What happened", ("seconds", "rpm", "what", "detail"), rows_) if rows_ else None,
    )


def _findings(found: Any, x: Spec, y: Spec) -> Spec:
    values = [
        {
            "s": one["seconds"],
            "rpm": one["rpm"],
            "what": KINDS.get(one["kind"], one["kind"]),
            "at": f"{one['seconds']:.3f} s, {number(one['rpm'], 4)} rpm",
            "told": one["told"],
        }
        for one in found
    ]
    names = [name for name in MARKS if any(value["what"] == name for value in values)]
    colour = {"domain": names, "range": [MARKS[name][0] for name in names]}
    shape = {"domain": names, "range": [MARKS[name][1] for name in names]}
    return {
        "data": rows(values),
        "mark": mark(130, clip=True, strokeWidth=2.4),
        "encoding": {
            "x": x,
            "y": y,
            "stroke": {"field": "what", "title": None, "type": "nominal", "scale": colour},
            "shape": {"field": "what", "title": None, "type": "nominal", "scale": shape},
            "tooltip": tooltip(("what", "what"), ("at", "when"), ("told", "detail")),
        },
    }
