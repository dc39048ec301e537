"""Frames as a host makes and reads them, by other libraries than the project's own: PyPI cobs
and binascii."""

from __future__ import annotations

import binascii
import struct
from typing import Any, NamedTuple

from cobs import cobs

from firmware.kit.tables import REASONS, STATES, TYPES, status_of, welcome_of

ANY_RUN = 0xFFFF


class Frame(NamedTuple):
    type: int
    seq: int
    payload: bytes


def frame(type_: str | int, seq: int, payload: bytes) -> bytes:
    """The bytes of one frame, its closing zero included."""
    number = TYPES[type_] if isinstance(type_, str) else type_
    body = bytes([number, seq & 0xFF]) + payload
    return cobs.encode(body + struct.pack("<I", binascii.crc32(body))) + b"\0"


def frames(data: bytes) -> list[Frame]:
    """The frames in the board's bytes; ValueError if one fails."""
    found = []
    for block in data.split(b"\0")[:-1]:
        if not block:
            continue
        body = cobs.decode(block)
        if binascii.crc32(body[:-4]) != int.from_bytes(body[-4:], "little"):
            raise ValueError(f"a board frame fails its CRC: {body.hex()}")
        found.append(Frame(body[0], body[1], body[2:-4]))
    return found


def arm(
    run: int = 1, epoch: int = 0, initial: int = 0, idle: int = 0, inputs: int = 0,
    park_after_ms: int = 1000, host_timeout_ms: int = 1000,
) -> bytes:  # fmt: skip
    """The payload of ARM."""
    return struct.pack(
        "<HBBBBHH", run, epoch, initial, idle, inputs, park_after_ms, host_timeout_ms
    )


def end(epoch: int, count: int, last_tick: int) -> bytes:
    """The payload of END."""
    return struct.pack("<BQQ", epoch, count, last_tick)


def splice(epoch: int, next_epoch: int, first: int) -> bytes:
    """The payload of SPLICE."""
    return struct.pack("<BBQ", epoch, next_epoch, first)


class Host:
    """The least host there can be: numbers its frames and reads everything that the board says.

    `wire` has `write(bytes)` and `take() -> bytes`.
    """

    def __init__(self, wire: Any) -> None:
        self.wire = wire
        self.seq = 0
        self.rest = b""
        self.status: Any = None
        self.statuses: list[Any] = []
        self.welcome: dict[str, Any] | None = None
        self.refused: list[tuple[int, int, int]] = []
        self.pulses: list[tuple[int, int]] = []
        self.board_seqs: list[int] = []

    def send(self, type_: str, payload: bytes = b"", seq: int | None = None) -> None:
        """Sends a frame; ordered ones are numbered here."""
        ordered = 0x10 <= TYPES[type_] < 0x80
        number = self.seq if seq is None else seq
        self.wire.write(frame(type_, number, payload))
        if ordered and seq is None:
            self.seq = (self.seq + 1) & 0xFF

    def hello(self, session: int = 1) -> None:
        """Begins a session at the host's own next number."""
        self.wire.write(
            b"\0" + frame("HELLO", self.seq, struct.pack("<4sIBB", b"EDWH", session, 1, 0))
        )

    def poll(self, token: int) -> None:
        self.wire.write(frame("POLL", 0, struct.pack("<I", token)))

    def stop(self, run: int = ANY_RUN) -> None:
        self.wire.write(frame("STOP", 0, struct.pack("<H", run)))

    def park(self, run: int = ANY_RUN) -> None:
        self.wire.write(frame("PARK", 0, struct.pack("<H", run)))

    def start(self, run: int = 1) -> None:
        self.send("START", struct.pack("<H", run))

    def listen(self) -> None:
        """Reads what the board has sent."""
        data = self.rest + self.wire.take()
        whole, zero, self.rest = data.rpartition(b"\0")
        for got in frames(whole + zero):
            self.board_seqs.append(got.seq)
            if got.type == TYPES["STATUS"]:
                self.status = status_of(got.payload)
                self.statuses.append(self.status)
            elif got.type == TYPES["WELCOME"]:
                self.welcome = welcome_of(got.payload)
            elif got.type == TYPES["REFUSED"]:
                self.refused.append(tuple(got.payload))
            elif got.type == TYPES["PULSES"]:
                self._pulses(got.payload)
            else:
                raise ValueError(f"a board does not send type {got.type:#x}")

    def _pulses(self, payload: bytes) -> None:
        first, tick, count = struct.unpack_from("<IQB", payload)
        assert first == len(self.pulses), "a gap in the numbers of the pulses"
        at = 13
        for _ in range(count):
            delta = shift = 0
            while True:
                byte = payload[at]
                at += 1
                delta |= (byte & 0x7F) << shift
                shift += 7
                if byte < 0x80:
                    break
            tick += delta
            self.pulses.append((tick, payload[at]))
            at += 1
        assert at == len(payload)

    @property
    def state(self) -> str:
        return next(name for name, value in STATES.items() if value == self.status.state)

    @property
    def reason(self) -> str:
        return next(name for name, value in REASONS.items() if value == self.status.reason)
