"""The signal around a loss, with the edges that were misread marked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
    INK,
    LOST,
    QUIET,
    Spec,
    axis,
    level,
    mark,
    number,
    picture,
    rows,
    tooltip,
    zoom,
)
from edgewheel.report.words import several

LANE = 1.75
"""Lanes are this far apart; a level is one high."""

MARK_UP = "triangle-up"
COUNTED = "counted"
SOUND = ", sound"
MS = 1000.0
ROW_PX = 62


def draw(evidence: Evidence) -> Picture:
    """As `search.waveform` makes it. Time is in milliseconds from the loss."""
    loss = float(evidence["loss"])
    tracks, sound = evidence["tracks"], evidence.get("sound") or []
    begin, end = _ends(evidence)
    lanes = _lanes(evidence)
    x = axis("ms", "milliseconds before and after the loss", (begin - loss) * MS, (end - loss) * MS)
    names = list(lanes)
    labels = {
        "values": [lanes[name] + 0.5 for name in names],
        "labelExpr": _label_expr(names, lanes),
        "grid": False,
        "ticks": False,
        "domain": False,
        "labelLimit": 150,
    }
    y = axis("y", "", -0.75, max(lanes.values(), default=0) + 1.75, axis=labels)
    layers: list[Spec] = [{"params": zoom("x"), **_wave(tracks, lanes, loss, end, x, y, "")}]
    if sound:
        layers.append(_wave(sound, lanes, loss, end, x, y, SOUND))
    if evidence.get("counted") is not None:
        layers.append(_counted(evidence["counted"], lanes, loss, x, y))
    layers.append(_marked(evidence["marked"], lanes, loss, x, y))
    reason = str(evidence.get("reason") or "")
    left = loss - begin > end - loss
    told = "sync lost" + (f": {reason}" if reason not in ("", "none") else "")
    layers += level(0.0, "x", told, left=left)
    return Picture(
        "The signal around the loss",
        _alt(evidence),
        _note(evidence),
        picture(layers, max(ROW_PX * len(lanes), 150)),
        _table(evidence["marked"], loss),
    )


def _ends(evidence: Evidence) -> tuple[float, float]:
    edges = [s for track in evidence["tracks"] for s in track["edges"]] or [evidence["loss"]]
    begin, end = evidence.get("begin"), evidence.get("end")
    return (
        min(edges) if begin is None else float(begin),
        max(edges) if end is None else float(end),
    )


def _lanes(evidence: Evidence) -> dict[str, float]:
    """The bottom of each lane, the first at the top: each track, sound and played, then counts."""
    names: list[str] = []
    sound = {track["name"] for track in evidence.get("sound") or []}
    for track in evidence["tracks"]:
        if track["name"] in sound:
            names.append(track["name"] + SOUND)
        names.append(track["name"])
        if evidence.get("counted") is not None and track is evidence["tracks"][0]:
            names.append(COUNTED)
    return {name: LANE * index for index, name in enumerate(reversed(names))}


def _label_expr(names: Sequence[str], lanes: dict[str, float]) -> str:
    """Vega's expression from a lane's middle to its name. Names come from files: quoted as JSON."""
    import json

    table = json.dumps({f"{lanes[name] + 0.5:.2f}": name for name in names})
    return f"({table})[format(datum.value, '.2f')]"


def _wave(
    tracks: Any, lanes: dict[str, float], loss: float, end: float, x: Spec, y: Spec, suffix: str
) -> Spec:
    values: list[dict[str, Any]] = []
    for track in tracks:
        name = track["name"] + suffix
        bottom, now = lanes[name], int(track["initial"])
        moments = [x["scale"]["domain"][0], *((s - loss) * MS for s in track["edges"])]
        for index, ms in enumerate([*moments, (end - loss) * MS]):
            last = index == len(moments)
            now = now if index == 0 or last else now ^ 1
            values.append({"ms": round(ms, 6), "y": bottom + now, "track": name})
    looks = {"strokeWidth": 1.1, "stroke": QUIET} if suffix else {"strokeWidth": 1.5, "stroke": INK}
    return {
        "data": rows(values),
        "mark": {"type": "line", "interpolate": "step-after", "clip": True, **looks},
        "encoding": {"x": x, "y": y, "detail": {"field": "track", "type": "nominal"}},
    }


def _counted(moments: Any, lanes: dict[str, float], loss: float, x: Spec, y: Spec) -> Spec:
    bottom = lanes[COUNTED]
    values = [
        {"ms": round((s - loss) * MS, 6), "y": bottom + 0.15, "y2": bottom + 0.85} for s in moments
    ]
    return {
        "data": rows(values),
        "mark": {"type": "rule", "stroke": INK, "strokeWidth": 1.2, "clip": True},
        "encoding": {"x": x, "y": y, "y2": {"field": "y2"}},
    }


def _marked(marks: Any, lanes: dict[str, float], loss: float, x: Spec, y: Spec) -> Spec:
    """A triangle under each misread edge: in the lane of the counts, or of its track."""
    values = [
        {
            "ms": round((one["seconds"] - loss) * MS, 6),
            "y": lanes.get(COUNTED, lanes.get(one["track"], 0.0)) - 0.3,
            "why": one["why"],
            "at": f"{(one['seconds'] - loss) * MS:+.4f} ms".replace("-", "\N{MINUS SIGN}"),
        }
        for one in marks
    ]
    return {
        "data": rows(values),
        "mark": mark(42, shape=MARK_UP, stroke=LOST, fill=LOST, filled=True, clip=True),
        "encoding": {"x": x, "y": y, "tooltip": tooltip(("why", "misread"), ("at", "at"))},
    }


def _reasons(evidence: Evidence) -> Counter[str]:
    return Counter(str(one["why"]) for one in evidence["marked"])


def why(evidence: Evidence) -> str:
    """What the picture says of the loss, in one sentence; empty if nothing was misread."""
    reasons = _reasons(evidence)
    if not reasons:
        return ""
    before_ms = (float(evidence["loss"]) - _ends(evidence)[0]) * MS
    told = "; ".join(f"{_times(count)} an edge {why}" for why, count in reasons.most_common(2))
    return f"In the last {number(before_ms, 2)} ms before the loss the signal was misread: {told}."


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _alt(evidence: Evidence) -> str:
    reasons = _reasons(evidence)
    if not reasons:
        return "The tracks around the loss; no edge was misread in what is shown."
    told = "; ".join(f"{_times(count)} an edge {why}" for why, count in reasons.most_common(4))
    return f"The tracks around the loss. {several(reasons.total(), 'misread edge')}: {told}."


def _note(evidence: Evidence) -> str:
    parts = ["The upper line of a track is the sound signal, the lower one what was on the pin."]
    if not evidence.get("sound"):
        parts = ["Each line is what was on a pin."]
    if evidence.get("counted") is not None:
        parts.append("Each stroke is an edge that the simulated controller counted as a tooth.")
    parts.append("Triangles mark the edges that were misread.")
    return " ".join(parts)


def _table(marks: Any, loss: float) -> Table | None:
    told = tuple(
        (number((one["seconds"] - loss) * MS, 6), one["track"], one["why"]) for one in marks
    )
    head = ("ms from the loss", "track", "why it is marked")
    return Table("The misread edges", head, told) if told else None
