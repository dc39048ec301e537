"""The simulated controller's side of OBD-II: mode 01 of SAE J1979 over ISO 15765-2, written here
and not taken from a library, so that the reader is held against something that is not its own.
"""

from __future__ import annotations

import struct

from edgewheel.controller.reader import CanFrame, Piece
from edgewheel.controller.sim.report import Reading
from edgewheel.controller.sim.settings import ReportSettings
from edgewheel.controller.sim.speaks_can import FrameQueue

REQUEST_ID = 0x7E0
FUNCTIONAL_ID = 0x7DF
RESPONSE_ID = 0x7E8
MODE = 0x01
SINGLE, FIRST, CONSECUTIVE, FLOW = range(4)
MOST_PIDS = 6


def answer(request: bytes, reading: Reading) -> bytes | None:
    """The answer to a mode 01 request for up to six PIDs; unknown ones are left out of it.

    None where a controller stays silent: another service, or nothing it knows.
    """
    if len(request) < 2 or request[0] != MODE or len(request) > 1 + MOST_PIDS:
        return None
    values = {
        0x00: struct.pack(">I", _supported()),
        0x01: bytes(((0x80 | 1 if reading.losses else 0), 0x07, 0x00, 0x00)),
        0x0C: struct.pack(">H", min(round(reading.rpm * 4), 0xFFFF)),
        0x0E: bytes((max(0, min(round((reading.advance_deg + 64) * 2), 255)),)),
    }
    parts = [bytes((pid,)) + values[pid] for pid in request[1:] if pid in values]
    return bytes((0x40 | MODE,)) + b"".join(parts) if parts else None


def _supported() -> int:
    """Bit 31 is PID 01, bit 0 PID 20."""
    return sum(1 << (32 - pid) for pid in (0x01, 0x0C, 0x0E))


def padded(data: bytes) -> bytes:
    """Legislated OBD sends eight bytes always."""
    return data + bytes(8 - len(data))


class ObdSpeaker:
    """Answers requests; a long answer waits for flow control after its first frame."""

    def __init__(self, settings: ReportSettings, tick_hz: int) -> None:
        self._queue = FrameQueue(settings, tick_hz)
        self._rest = b""
        self._number = 0

    def report(self, tick: int, reading: Reading) -> None:
        """Nothing is said unasked."""

    def ask(self, tick: int, piece: Piece, reading: Reading) -> None:
        if not isinstance(piece, CanFrame) or piece.id not in (REQUEST_ID, FUNCTIONAL_ID):
            return
        if not piece.data:
            return
        kind, length = piece.data[0] >> 4, piece.data[0] & 0xF
        if kind == SINGLE and 0 < length < len(piece.data):
            self._answer(tick, piece.data[1 : 1 + length], reading)
        elif kind == FLOW and piece.id == REQUEST_ID and length == 0:
            self._go_on(tick)

    def sent(self, now: int) -> tuple[tuple[int, Piece], ...]:
        return self._queue.sent(now)

    def _answer(self, tick: int, request: bytes, reading: Reading) -> None:
        data = answer(request, reading)
        self._rest = b""
        if data is None:
            return
        if len(data) < 8:
            self._send(tick, bytes((len(data),)) + data)
            return
        head = bytes((FIRST << 4 | len(data) >> 8, len(data) & 0xFF))
        self._send(tick, head + data[:6])
        self._rest, self._number = data[6:], 1

    def _go_on(self, tick: int) -> None:
        """All consecutive frames at once: the block size a tester asks for here is 'no limit'."""
        while self._rest:
            self._send(tick, bytes((CONSECUTIVE << 4 | self._number,)) + self._rest[:7])
            self._rest, self._number = self._rest[7:], (self._number + 1) % 16

    def _send(self, tick: int, data: bytes) -> None:
        self._queue.send(tick, CanFrame(RESPONSE_ID, padded(data)))
