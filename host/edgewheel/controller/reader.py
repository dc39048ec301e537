"""What every reader of a controller offers, whatever the controller speaks.

Readers do no I/O: pieces of what came go in with the time of their arrival, reports come out, and
what is to be sent is asked for. A piece is a run of bytes on a serial line or one frame on a CAN
bus. Whatever cannot be read is counted, never fatal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from edgewheel.controller.lines import Fields, Report


@dataclass(frozen=True)
class CanFrame:
    """One data frame of classical CAN."""

    id: int
    data: bytes
    extended: bool = False

    def __str__(self) -> str:
        """Identifier and data in hexadecimal, the identifier with 3 or 8 digits by its format."""
        return f"{self.id:0{8 if self.extended else 3}X}#{self.data.hex().upper()}"


Piece = bytes | CanFrame
Both = TypeVar("Both", bytes, CanFrame)


class Reader(Protocol[Both]):
    """One conversation with a controller. Arrivals are integers of any one clock."""

    def feed(self, piece: Both, arrived: int) -> list[Report]:
        """The reports that this piece completes."""

    def due(self, now_ns: int) -> list[Both]:
        """What is to be sent to the controller by now, on a clock that only goes on."""

    def broken(self) -> None:
        """The connection broke and is back: what was half said is not the beginning of the rest."""

    def tally(self) -> dict[str, int]:
        """How much came and how much of it could not be read, by kind."""


class Listening(Protocol[Both]):
    """How a controller is to be listened to, as declared; frozen."""

    def reader(self) -> Reader[Both]:
        """A new conversation."""

    def parse_text(self, text: str) -> Fields | None:
        """The fields of a report from its recorded text."""


class Wire(Protocol[Both]):
    """An open port or bus. Reading and writing raise OSError once it is gone."""

    name: str

    def read(self) -> Sequence[Both]:
        """What has come; waits a few milliseconds for the first of it."""

    def write(self, piece: Both) -> None:
        """Send."""

    def close(self) -> None:
        """Let go of it."""


def pairs_text(fields: Fields) -> str:
    """Fields as `name=value` with blanks between, which `lines.pairs` reads."""
    return " ".join(f"{name}={_value_text(value)}" for name, value in fields.items())


def _value_text(value: float | str) -> str:
    if isinstance(value, str):
        plain = value.replace('"', "'")
        return f'"{plain}"' if not plain or " " in plain else plain
    return f"{value:.10g}"
