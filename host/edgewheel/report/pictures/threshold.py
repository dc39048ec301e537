"""The threshold curve with its trials."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from math import exp, log
from typing import Any

from edgewheel.report.model import Evidence, Picture, Table
from edgewheel.report.pictures.looks import (
    INK,
    NOTE,
    Spec,
    axis,
    level,
    mark,
    number,
    outcome,
    picture,
    rows,
    tooltip,
    zoom,
)
from edgewheel.report.words import axis_words, several

HELD, FAILED = "held sync", "failed"
STEPS = 120
BEYOND = 0.09
"""How far above 100 % and below 0 the trials are drawn, so that they do not hide the curve."""

WORDS = 0.15
"""Above the trials, for the words of the lines."""

RIGHT = 0.6
"""From this share of the width on, words stand left of their line, so that none is cut off."""


def draw(evidence: Evidence) -> Picture:
    """`Limit.as_data()`, with "trials", "probability" and, maybe, "limit" and "unit"."""
    trials = [_trial(trial) for trial in evidence.get("trials") or []]
    what = axis_words(evidence["address"], str(evidence.get("unit") or ""))
    low, high = _span(evidence)
    layers: list[Spec] = []
    layers.append(_trials(trials, what, low, high))
    known = evidence.get("threshold") is not None
    if known:
        layers[:0] = [_band(evidence, low, high), _curve(evidence, low, high)]
        at = evidence["threshold"]
        layers += level(at, "x", number(at), (1, 0), left=_is_right(at, low, high))
    if evidence.get("limit") is not None:
        at = evidence["limit"]
        layers += level(at, "x", f"limit {number(at)}", left=_is_right(at, low, high))
    layers[0] = {"params": zoom("x"), **layers[0]}
    return Picture(
        f"Where it begins to fail: {what}",
        _alt(evidence, what),
        "Each mark is one trial from standstill: rings held sync, crosses failed; larger marks are "
        "several trials at one value. The line is the share of trials that fail; the shaded "
        "stretch is the 95 % interval of the threshold.",
        picture(layers, 250),
        _table(trials, what),
    )


def _trial(trial: Mapping[str, Any]) -> dict[str, Any]:
    """A trial of a search, or of a test of a suite, which calls its parts otherwise."""
    return {
        "x": float(trial.get("x", trial.get("value", 0.0))),
        "passed": bool(trial["passed"]),
        "told": str(trial.get("told", trial.get("detail", ""))),
    }


def _span(evidence: Evidence) -> tuple[float, float]:
    """The range that was searched, the limit, and a little room."""
    ends = [float(evidence["from"]), float(evidence["to"])]
    if evidence.get("limit") is not None:
        ends.append(float(evidence["limit"]))
    margin = (max(ends) - min(ends)) * 0.03
    return min(ends) - margin, max(ends) + margin


def _is_right(at: float, low: float, high: float) -> bool:
    return at - low > RIGHT * (high - low)


def _trials(trials: Sequence[Mapping[str, Any]], what: str, low: float, high: float) -> Spec:
    counts = Counter((float(trial["x"]), bool(trial["passed"])) for trial in trials)
    values = [
        {
            "x": x,
            "y": -BEYOND if passed else 1 + BEYOND,
            "count": count,
            "what": HELD if passed else FAILED,
            "value": number(x, 6),
            "told": several(count, "trial"),
        }
        for (x, passed), count in sorted(counts.items())
    ]
    size = {"field": "count", "type": "quantitative", "legend": None}
    return {
        "data": rows(values),
        "mark": mark(clip=True),
        "encoding": {
            "x": axis("x", what, low, high),
            "y": _share_axis("y"),
            "size": {**size, "scale": {"domain": [1, 10], "range": [60, 260]}},
            **outcome("what", HELD, FAILED),
            "tooltip": tooltip(("value", what), ("what", "outcome"), ("told", "how often")),
        },
    }


def _share_axis(field: str) -> Spec:
    ticks = {"values": [0, 0.25, 0.5, 0.75, 1], "format": ".0%"}
    top = 1 + 2 * BEYOND + WORDS
    return axis(field, "share of trials that fail", -2 * BEYOND, top, axis=ticks)


def _curve(evidence: Evidence, low: float, high: float) -> Spec:
    """The logistic curve of threshold and spread, or the step of a bracket."""
    threshold, spread = float(evidence["threshold"]), float(evidence["spread"] or 0)
    share = float(evidence.get("probability") or 0.5)
    sign = 1 if evidence["fails"] == "above" else -1
    xs = [low + (high - low) * step / STEPS for step in range(STEPS + 1)]
    xs += [threshold + spread * step / 4 for step in range(-24, 25)] if spread else []
    points = [
        {"x": x, "y": _failing(sign * (x - threshold), spread, share)}
        for x in sorted(xs)
        if low <= x <= high
    ]
    if not spread:
        before, after = (0, 1) if sign > 0 else (1, 0)
        points = [{"x": low, "y": before}, {"x": threshold, "y": before}]
        points += [{"x": threshold, "y": after}, {"x": high, "y": after}]
    return {
        "data": rows([{**point, "n": n} for n, point in enumerate(points)]),
        "mark": {"type": "line", "stroke": INK, "strokeWidth": 1.6, "clip": True},
        "encoding": {
            "x": {"field": "x", "type": "quantitative"},
            "y": _share_axis("y"),
            "order": {"field": "n"},
        },
    }


def _failing(distance: float, spread: float, share: float) -> float:
    """The logistic share of failures at a distance beyond the threshold."""
    if not spread:
        return float(distance >= 0)
    z = min(max(distance / spread + log(share / (1 - share)), -60), 60)
    return 1 / (1 + exp(-z))


def _band(evidence: Evidence, low: float, high: float) -> Spec:
    ends = {"low": evidence.get("low"), "high": evidence.get("high")}
    begin = low if ends["low"] is None else max(float(ends["low"]), low)
    end = high if ends["high"] is None else min(float(ends["high"]), high)
    words = f"{number(begin, 6)} to {number(end, 6)}"
    return {
        "data": rows([{"x": begin, "x2": end, "told": words}]),
        "mark": {"type": "rect", "fill": NOTE, "fillOpacity": 0.22, "stroke": NOTE, "clip": True},
        "encoding": {
            "x": axis("x", "", low, high),
            "x2": {"field": "x2"},
            "tooltip": tooltip(("told", "95 % interval")),
        },
    }


def _alt(evidence: Evidence, what: str) -> str:
    tried = int(evidence["passed_trials"]) + int(evidence["failed_trials"])
    if evidence.get("threshold") is None:
        return (
            f"{several(tried, 'trial')} of {what}: no value was found at which it begins to fail."
        )
    return (
        f"{several(tried, 'trial')} of {what}. The controller fails {evidence['fails']} "
        f"{number(evidence['threshold'])}."
    )


def _table(trials: Sequence[Mapping[str, Any]], what: str) -> Table | None:
    if not trials:
        return None
    told = [
        (str(n), number(float(t["x"]), 6), HELD if t["passed"] else FAILED, str(t.get("told", "")))
        for n, t in enumerate(trials, 1)
    ]
    return Table(
        "Every trial, in the order played", ("trial", what, "outcome", "what was seen"), tuple(told)
    )
