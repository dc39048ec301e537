"""Which picture an evidence is drawn as, and what it says in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from edgewheel.report.model import Evidence, Picture
from edgewheel.report.pictures import (
    envelope,
    margins,
    points,
    speed,
    staircase,
    starts,
    threshold,
    timing,
    tries,
    waveform,
)

_DRAWERS: dict[str, Callable[[Evidence], Picture | None]] = {
    "diagnosis": tries.draw_diagnosis,
    "envelope": envelope.draw,
    "margins": margins.draw,
    "points": points.draw,
    "shrinking": tries.draw_shrinking,
    "speed": speed.draw,
    "staircase": staircase.draw,
    "starts": starts.draw,
    "threshold": threshold.draw,
    "timing": timing.draw,
    "waveform": waveform.draw,
}


def pictures(evidence: Sequence[Evidence]) -> list[Picture]:
    """The pictures of all evidence that has one; "words" has none."""
    drawn = (_DRAWERS[one["kind"]](one) for one in evidence if one["kind"] in _DRAWERS)
    return [picture for picture in drawn if picture is not None]


def why(evidence: Sequence[Evidence]) -> list[str]:
    """What evidence says of the cause."""
    told = [waveform.why(one) for one in evidence if one["kind"] == "waveform"]
    return list(filter(None, told))


def words(evidence: Sequence[Evidence]) -> list[str]:
    """The sentences among the evidence."""
    return [
        str(sentence)
        for one in evidence
        if one["kind"] == "words"
        for sentence in one.get("words") or one.get("sentences") or ()
    ]
