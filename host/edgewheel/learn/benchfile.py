"""What was learned as parts of a bench file: the wheel, the speed, the deviation as a fault."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

import yaml

from edgewheel.learn.learn import Learned
from edgewheel.yamlfile import Node

NEAR_SPEED = 0.005
"""Share of the speed by which the ramps of a bench file may be off it."""

NO_NAMES: Mapping[str, str] = {}

Point = tuple[float, float]
"""Seconds, rpm."""


def faults(learned: Learned, names: Mapping[str, str] = NO_NAMES) -> dict[str, dict[str, Any]]:
    """The teeth that stand wrong as entries of `faults:`, by name; `names` are those of the wheel's
    tracks, by the ones of the capture, where they differ.
    """
    return {
        f"{names.get(one.track, one.track)}_tooth_{one.tooth}": {
            "kind": "bent_tooth",
            "track": names.get(one.track, one.track),
            "teeth": [one.tooth],
            "by_deg": round(one.deviation.degrees, 2),
        }
        for one in learned.best.deviations
    }


def bench_text(learned: Learned, like: Node, wheel: str, in_library: bool) -> str:
    """The bench file `like` with the learned wheel, speed and faults in place of its own, and the
    simulated controller's inputs on that wheel's tracks.

    `wheel` is a library name or a file. A sweep is left out: what is to be shown is what the
    capture shows.
    """
    best = learned.best
    names = dict(best.like.pairs) if best.like is not None and in_library else {}
    document: dict[str, Any] = _plain(like)
    _connect(document, [names.get(name, name) for name in _tracks(learned)])
    document.pop("sweep", None)
    document.pop("capture", None)
    document["name"] = f"{document['name']}, as in {learned.name}"
    document["wheel"] = wheel
    document["motion"] = _motion(learned)
    document["faults"] = {**document.get("faults", {}), **faults(learned, names)}
    return yaml.safe_dump(document, sort_keys=False, allow_unicode=True, width=100)


def _tracks(learned: Learned) -> list[str]:
    """The names of the tracks in the capture, the main one first."""
    shape = learned.best.shape
    return [shape.main, *(track.name for track in shape.tracks if track.name != shape.main)]


def _connect(document: dict[str, Any], tracks: Sequence[str]) -> None:
    """Inputs on lines that are no tracks of the wheel go to its main track, and to the next one.

    Settings in a file of their own stay as they are.
    """
    settings = document.get("controller", {}).get("settings")
    if not isinstance(settings, dict):
        return
    for key, track in zip(("crank", "cam"), tracks, strict=False):
        if key in settings and settings[key]["line"] not in tracks:
            settings[key]["line"] = track


def _motion(learned: Learned) -> dict[str, Any]:
    """The speed as few ramps that stay close to it, and the ripple."""
    points = few_points(learned.speed)
    motion: dict[str, Any] = {}
    ripple = learned.best.ripple_in_library if learned.best.in_library else None
    if ripple is not None:
        motion["ripple"] = {
            "depth": round(float(ripple.depth), 4),
            "per_turn": float(ripple.per_turn),
            "slowest_at": round(float(ripple.slowest_at_deg), 1),
        }
    motion["segments"] = [
        {"ramp": round(rpm, 1), "from": round(before, 1), "seconds": round(until - begin, 5)}
        for (begin, before), (until, rpm) in pairwise(points)
    ]
    return motion


def few_points(points: Sequence[Point]) -> list[Point]:
    """The points that straight lines must go through to stay within `NEAR_SPEED` of all (n,).

    Split where a line is furthest off, as in Douglas and Peucker, The Canadian Cartographer 10(2),
    1973.
    """
    (begin_s, begin), (end_s, end) = points[0], points[-1]
    off = [
        abs(rpm - (begin + (end - begin) * (seconds - begin_s) / (end_s - begin_s))) / rpm
        for seconds, rpm in points
    ]
    worst = max(range(len(points)), key=lambda number: off[number])
    if off[worst] <= NEAR_SPEED:
        return [points[0], points[-1]]
    return [*few_points(points[: worst + 1])[:-1], *few_points(points[worst:])]


def faults_text(learned: Learned) -> str:
    """The `faults:` to put into a bench file, empty if no tooth stands wrong."""
    found = faults(learned)
    return yaml.safe_dump({"faults": found}, sort_keys=False) if found else ""


def speed_table(learned: Learned) -> str:
    """The speed as a table that a motion file takes: `time,rpm`."""
    begin_s = learned.speed[0][0]
    rows = [f"{seconds - begin_s:.6f},{rpm:.3f}" for seconds, rpm in learned.speed]
    return "time,rpm\n" + "\n".join(rows) + "\n"


def _plain(node: Node | Mapping[str, Node]) -> Any:
    """A tree as YAML writes it; texts that read as numbers and flags are written as such."""
    content = node.content if isinstance(node, Node) else node
    if isinstance(content, dict):
        return {key: _plain(child) for key, child in content.items()}
    if isinstance(content, tuple):
        return [_plain(child) for child in content]
    return yaml.safe_load(content) if isinstance(content, str) else content
