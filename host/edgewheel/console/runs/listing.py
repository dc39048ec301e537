"""The record folders that lie under `runs`, and what two of them differ in."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgewheel.bench.record_folder import DATABASE, SUMMARY
from edgewheel.search.recorded import read_rows

MOST_LISTED = 500
UNFINISHED = "unfinished"
"""What came of a record without a summary: it was cut off, or is going on."""


@dataclass(frozen=True)
class Listed:
    """One record: when it began (UTC), what it is of, what came of it."""

    folder: Path
    began: str
    kind: str
    verdict: str
    name: str


def records(runs: Path) -> list[Listed]:
    """The newest first, at most `MOST_LISTED`."""
    folders = sorted((path for path in runs.glob("*") if (path / DATABASE).is_file()), reverse=True)
    return [_listed(folder) for folder in folders[:MOST_LISTED]]


def summary_of(folder: Path) -> dict[str, Any]:
    """Its summary; empty where the run was cut off or is still going on."""
    try:
        found = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def trials_in(folder: Path) -> int | None:
    """How many trials a record holds; None where it is of one run, or cannot be read."""
    try:
        ((count,),) = read_rows(folder / DATABASE, "SELECT count(*) FROM trial")
    except sqlite3.Error:
        return None
    return int(count)


def differences(one: Path, other: Path) -> list[tuple[str, str, str]]:
    """(what, in the one, in the other) for every value of the summaries that differs."""
    first, second = (dict(_flat("", summary_of(folder))) for folder in (one, other))
    names = dict.fromkeys([*first, *second])
    return [
        (name, first.get(name, "–"), second.get(name, "–"))
        for name in names
        if first.get(name) != second.get(name)
    ]


def _listed(folder: Path) -> Listed:
    summary = summary_of(folder)
    stamp, _, rest = folder.name.partition("-")
    verdict = str(summary.get("verdict") or summary.get("outcome") or ("done" if summary else ""))
    kind = str(summary.get("kind") or ("sweep" if "sweep" in summary else "run"))
    if not summary and trials_in(folder) is not None:
        kind = "search"
    name = str(summary.get("name") or rest)
    return Listed(folder, _readable(stamp), kind, verdict or UNFINISHED, name)


def _readable(stamp: str) -> str:
    """20260131T094500Z as people write it."""
    if len(stamp) != 16:
        return stamp
    return f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:8]} {stamp[9:11]}:{stamp[11:13]}:{stamp[13:15]}"


def _flat(name: str, value: Any) -> Iterator[tuple[str, str]]:
    if isinstance(value, dict):
        for key, child in value.items():
            yield from _flat(f"{name}.{key}" if name else str(key), child)
    elif isinstance(value, list):
        yield f"{name}: how many", str(len(value))
        if value:
            yield from _flat(f"{name}[0]", value[0])
    else:
        yield name, str(value)
