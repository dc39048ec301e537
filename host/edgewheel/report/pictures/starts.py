"""Time to sync from many starting angles."""

from __future__ import annotations

from math import ceil
from typing import Any

from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
    QUIET,
    Spec,
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

FOUND, NEVER = "found sync", "never found sync"
CYCLE_DEG = 720


def draw(evidence: Evidence) -> Picture:
    """ "starts" ({"start_deg", "degrees", "teeth"}), "least_of_the_wheel_deg", maybe "limit"."""
    starts = evidence["starts"]
    found = sorted(float(one["degrees"]) for one in starts if one["degrees"] is not None)
    ends = [float(evidence.get(key) or 0) for key in ("least_of_the_wheel_deg", "limit")]
    top = max([*found, *ends, 1.0]) * 1.15
    x = axis("start", "crank angle at the start, degrees", -8, CYCLE_DEG + 8)
    y = axis("deg", "degrees turned until sync", 0, top)
    values = [_value(one, top) for one in starts]
    stems = layer(
        values, {"type": "rule", "stroke": QUIET, "clip": True}, x=x, y=y, y2={"datum": 0}
    )
    heads = layer(
        values,
        mark(80, clip=True),
        x=x,
        y=y,
        **outcome("what", FOUND, NEVER),
        tooltip=tooltip(("from", "start"), ("told", "until sync"), ("what", "outcome")),
    )
    layers = [{"params": zoom("x", "y"), **stems}, heads, *_lines(evidence, found)]
    never = len(starts) - len(found)
    worst = f"at worst after {number(found[-1], 4)} degrees" if found else "in none of them"
    return Picture(
        "From where it starts, and how long until sync",
        f"{several(len(starts), 'start')} from angles over the cycle: {len(found)} found sync, "
        f"{worst}; {never} never did.",
        "Each ring is one start at its crank angle: how far the crank turned from the first edge "
        "until the controller knew where it is. A cross never found sync.",
        picture(layers, 300),
        Table(
            "Every start",
            ("from, degrees", "until sync, degrees", "teeth seen", "outcome"),
            tuple((v["from"], v["told"], v["teeth"], v["what"]) for v in values),
        ),
    )


def _lines(evidence: Evidence, found: list[float]) -> list[Spec]:
    """The median if all found sync, what the wheel allows, and the limit."""
    layers: list[Spec] = []
    least, limit = evidence.get("least_of_the_wheel_deg"), evidence.get("limit")
    if found and len(found) == len(evidence["starts"]):
        layers += level(found[ceil(0.5 * len(found)) - 1], "y", "median", (2, 3))
    if least is not None:
        layers += level(float(least), "y", f"the wheel allows {number(float(least), 4)}", (8, 3))
    if limit is not None:
        layers += level(float(limit), "y", f"limit {number(float(limit), 4)}", (1, 0))
    return layers


def _value(one: Any, top: float) -> dict[str, Any]:
    known = one["degrees"] is not None
    return {
        "start": float(one["start_deg"]),
        "deg": float(one["degrees"]) if known else top * 0.97,
        "from": number(float(one["start_deg"])),
        "told": number(float(one["degrees"])) if known else "never",
        "teeth": str(one.get("teeth") or ""),
        "what": FOUND if known else NEVER,
    }
