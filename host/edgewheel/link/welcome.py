"""WELCOME, PROTOCOL.md section 2: what a board says about itself."""

from __future__ import annotations

from dataclasses import dataclass
from struct import Struct
from typing import ClassVar, Self

from edgewheel.link.messages import MAGIC, MalformedError

SIMULATED = 1
RP2040 = 2

FEATURE_BOOTLOADER = 1

# tag: (attribute, bytes of its value; 0 for text)
_FIELDS = {
    1: ("outputs", 1),
    2: ("inputs", 1),
    3: ("shortest_hold_ticks", 4),
    4: ("history_depth", 2),
    5: ("buffer_bytes", 4),
    6: ("largest_frame", 2),
    7: ("features", 4),
    8: ("firmware", 0),
    9: ("handover_ticks", 4),
    10: ("first_tick", 4),
    11: ("state", 1),
    12: ("run", 2),
    13: ("waves", 1),
    14: ("configured", 1),
}
_REQUIRED = frozenset(range(1, 13)) - {7, 8}  # of protocol 1.0


@dataclass(frozen=True)
class Welcome:
    """A board's answer to HELLO: a head frozen for ever, then tagged fields.

    A board of another major version may know only the head: then `complete` is false.
    """

    TYPE: ClassVar[int] = 0x81
    HEAD: ClassVar[Struct] = Struct("<4sBBH8sI")

    major: int
    minor: int
    board: int
    unique_id: bytes
    tick_hz: int
    outputs: int = 0
    inputs: int = 0
    shortest_hold_ticks: int = 1
    history_depth: int = 0
    buffer_bytes: int = 0
    largest_frame: int = 0
    features: int = 0
    firmware: str = ""
    handover_ticks: int = 0
    first_tick: int = 0
    state: int = 0
    run: int = 0
    waves: int = 0
    configured: int = 0
    complete: bool = True

    def pack(self) -> bytes:
        """The payload of a WELCOME frame."""
        out = [
            self.HEAD.pack(MAGIC, self.major, self.minor, self.board, self.unique_id, self.tick_hz)
        ]
        for tag, (name, size) in _FIELDS.items():
            value = getattr(self, name)
            data = value.encode() if size == 0 else value.to_bytes(size, "little")
            out.append(bytes((tag, len(data))) + data)
        return b"".join(out)

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        """The welcome in a payload; MalformedError if even the head is not one."""
        if len(payload) < cls.HEAD.size or payload[:4] != MAGIC:
            raise MalformedError("no WELCOME")
        _, major, minor, board, unique_id, tick_hz = cls.HEAD.unpack_from(payload)
        found = _tagged(payload[cls.HEAD.size :])
        values = {
            name: found[tag].decode(errors="replace")
            if size == 0
            else int.from_bytes(found[tag], "little")
            for tag, (name, size) in _FIELDS.items()
            if tag in found
        }
        complete = found.keys() >= _REQUIRED
        return cls(major, minor, board, unique_id, tick_hz, complete=complete, **values)  # type: ignore[arg-type]


def _tagged(data: bytes) -> dict[int, bytes]:
    """Values by tag; a value cut off at the end is left out."""
    found, at = {}, 0
    while at + 2 <= len(data):
        tag, length = data[at], data[at + 1]
        value = data[at + 2 : at + 2 + length]
        if len(value) == length:
            found[tag] = value
        at += 2 + length
    return found
