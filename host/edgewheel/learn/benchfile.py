"""What was learned as parts of a bench file: the wheel, the speed, the deviation as a fault."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import yaml

from edgewheel.learn.learn import Learned
from edgewheel.yamlfile import Node


def faults(learned: Learned) -> dict[str, dict[str, Any]]:
    """The teeth that stand wrong as entries of `faults:`, by name."""
    return {
        f"{one.track}_tooth_{one.tooth}": {
            "kind": "bent_tooth",
            "track": one.track,
            "teeth": [one.tooth],
            "by_deg": round(one.deviation.degrees, 2),
        }
        for one in learned.best.deviations
    }


def bench_text(learned: Learned, like: Node, wheel: str, speed: str) -> str:
    """The bench file `like` with the learned wheel, speed and faults in place of its own.

    `wheel` is a library name or a file, `speed` a table of speeds beside it. A sweep is left out:
    what is to be shown is what the capture shows.
    """
    document: dict[str, Any] = _plain(like)
    document.pop("sweep", None)
    document.pop("capture", None)
    document["name"] = f"{document['name']}, as in {learned.name}"
    document["wheel"] = wheel
    document["motion"] = {"segments": [{"table": speed}]}
    document["faults"] = {**document.get("faults", {}), **faults(learned)}
    return yaml.safe_dump(document, sort_keys=False, allow_unicode=True, width=100)


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
