"""The tables of PROTOCOL.md, read from the page itself, so that a test holds a board to what is
written."""

from __future__ import annotations

import re
import struct
from collections import namedtuple
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[3]
FIRMWARE = ROOT / "firmware"
_CODES = {"u8": "B", "u16": "H", "u32": "I", "u64": "Q"}


def table(name: str) -> list[dict[str, str]]:
    """The rows of one table, by column."""
    lines = (FIRMWARE / "PROTOCOL.md").read_text(encoding="utf-8").splitlines()
    begin = lines.index(f"<!-- table: {name} -->") + 1
    rows = []
    for line in lines[begin:]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip() for cell in line.strip("|").split("|")])
    head, _, *body = rows
    return [dict(zip(head, row, strict=True)) for row in body]


def numbers(name: str, key: str) -> dict[str, int]:
    """Names to numbers: the columns `key` and the first one."""
    rows = table(name)
    first = next(iter(rows[0]))
    return {row[key]: int(row[first], 0) for row in rows}


TYPES = numbers("types", "name")
STATES = numbers("states", "state")
REASONS = numbers("reasons", "reason")
REFUSALS = numbers("refusals", "code")
_FIELDS = {int(row["tag"]): row for row in table("fields")}
_STATUS = table("status")
STATUS_LAYOUT = struct.Struct("<" + "".join(_CODES[row["type"]] for row in _STATUS))
Status = namedtuple("Status", [row["field"] for row in _STATUS])


def status_of(payload: bytes) -> Any:
    """STATUS by the names of the page."""
    return Status(*STATUS_LAYOUT.unpack(payload))


def welcome_of(payload: bytes) -> dict[str, Any]:
    """WELCOME: the frozen head and the tagged fields, by the names of the page."""
    magic, major, minor, board, unique_id, tick_hz = struct.unpack_from("<4sBBH8sI", payload)
    found: dict[str, Any] = {
        "magic": magic, "major": major, "minor": minor, "board": board, "id": unique_id,
        "tick_hz": tick_hz,
    }  # fmt: skip
    at = 24 - 2
    while at < len(payload):
        tag, length = payload[at : at + 2]
        value = payload[at + 2 : at + 2 + length]
        row = _FIELDS[tag]
        found[row["name"]] = (
            value.decode() if row["value"] == "text" else int.from_bytes(value, "little")
        )
        at += 2 + length
    return found


def payload_sizes() -> dict[str, int]:
    """Least payload of every host frame with fixed fields, from the page's own list of them."""
    sizes = {"s": 1, "u8": 1, "u16": 2, "u32": 4, "u64": 8}
    found = {}
    for row in table("types"):
        if row["from"] == "host":
            fields = re.findall(r"\b(?:(\d+)s|(u8|u16|u32|u64))", row["payload"])
            found[row["name"]] = sum(int(text) if text else sizes[kind] for text, kind in fields)
    return found
