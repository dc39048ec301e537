"""The tries of a diagnosis and of a shrinking, one after the other."""

from __future__ import annotations

from typing import Any

from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
    QUIET,
    axis,
    layer,
    mark,
    number,
    outcome,
    picture,
    tooltip,
    zoom,
)
from edgewheel.report.words import several

STAGES = ("nothing", "partly", "claims", "turns", "right")
STAGE_WORDS = {
    "nothing": "nothing",
    "partly": "something, no sync",
    "claims": "sync at a wrong speed",
    "turns": "sync, sparks wrong",
    "right": "all is right",
}
RIGHT, WRONG = "all is right", "not yet right"
ALIKE, OTHERWISE = "it fails alike", "it does not"


def draw_diagnosis(evidence: Evidence) -> Picture:
    """ "steps" as `edgewheel diagnose --json` has them."""
    steps = evidence["steps"]
    values = [_tried(step) for step in steps]
    order = [STAGE_WORDS[stage] for stage in reversed(STAGES)]
    x = axis("n", "try", 0.5, len(steps) + 0.5, axis={"tickMinStep": 1, "format": "d"})
    y = {"field": "stage", "type": "ordinal", "title": None, "scale": {"domain": order}}
    path = {"type": "line", "stroke": QUIET, "strokeDash": [2, 3]}
    layers = [
        layer(values, path, x=x, y=y, order={"field": "n"}),
        layer(
            values,
            mark(110, strokeWidth=2.2),
            x=x,
            y=y,
            **outcome("what", RIGHT, WRONG),
            tooltip=tooltip(("signal", "signal"), ("stage", "it knows"), ("meaning", "meaning")),
        ),
    ]
    told = tuple((str(v["n"]), v["signal"], v["stage"], v["meaning"]) for v in values)
    last = values[-1]["stage"] if values else "nothing"
    return Picture(
        "How far the controller came, try by try",
        f"{several(len(steps), 'try')}, each with another signal; in the last one: {last}.",
        "Each mark is one try with the signal changed as the table says; the higher, the further "
        "the controller came. What brought it to the top names the setting that is wrong.",
        picture(layers, 200),
        Table("Every try", ("try", "signal", "how far it came", "what that means"), told),
    )


def _tried(step: Any) -> dict[str, Any]:
    return {
        "n": int(step["number"]),
        "stage": STAGE_WORDS.get(step["stage"], step["stage"]),
        "what": RIGHT if step["stage"] == "right" else WRONG,
        "signal": step["signal"],
        "meaning": step["meaning"],
    }


def draw_shrinking(evidence: Evidence) -> Picture:
    """ "trials" ({"stage", "changes", "seconds", "failed", "found"}) in their order."""
    trials = evidence["trials"]
    values = [_shrunk(n, trial) for n, trial in enumerate(trials, 1)]
    most = max((value["changes"] for value in values), default=1)
    x = axis("n", "trial", 0.5, len(values) + 0.5)
    y = axis("shown", "changes to the signal", 0.7, most + 1.5)
    y["scale"] = {"type": "log", "domain": y["scale"]["domain"], "nice": False}
    marks = layer(
        values,
        mark(70, clip=True),
        x=x,
        y=y,
        **outcome("what", OTHERWISE, ALIKE),
        tooltip=tooltip(
            ("told", "changes"), ("stage", "stage"), ("lasts", "stretch"), ("what", "then")
        ),
    )
    layers = [{"params": zoom("x"), **marks}]
    told = tuple((str(v["n"]), v["stage"], v["told"], v["lasts"], v["what"]) for v in values)
    return Picture(
        "From all changes to the few that matter",
        f"{several(len(values), 'trial')}, from {number(most)} changes to the signal down to the "
        "least with which the controller still fails alike.",
        "Each mark is one trial with so many of the changes left in: a cross where the controller "
        "still fails in the same way, a ring where it does not.",
        picture(layers, 260),
        Table("Every trial", ("trial", "stage", "changes", "stretch", "outcome"), told),
    )


def _shrunk(n: int, trial: Any) -> dict[str, Any]:
    changes = int(trial["changes"])
    return {
        "n": n,
        "changes": changes,
        "shown": max(changes, 0.75),
        "told": f"{changes:,}",
        "stage": trial["stage"],
        "lasts": f"{number(float(trial['seconds']))} s",
        "what": ALIKE if trial["failed"] else OTHERWISE,
    }
