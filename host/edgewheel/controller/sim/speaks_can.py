"""The simulated controller's CAN messages, and the DBC text that describes them."""

from __future__ import annotations

import struct
from collections import deque

from edgewheel.controller.reader import CanFrame, Piece
from edgewheel.controller.sim.report import Reading
from edgewheel.controller.sim.settings import ReportSettings
from edgewheel.controller.sim.speaks_records import SYNC_CODES

SPEED_ID = 0x310
STATE_ID = 0x311
DBC = f"""\
VERSION ""

BU_: FAN_CONTROLLER BENCH

BO_ {SPEED_ID} FanSpeed: 8 FAN_CONTROLLER
 SG_ rpm : 0|16@1+ (0.25,0) [0|16383.75] "rpm" BENCH
 SG_ advance : 23|12@0- (0.1,0) [-204.8|204.7] "deg" BENCH
 SG_ cut : 40|1@1+ (1,0) [0|1] "" BENCH

BO_ {STATE_ID} FanState: 4 FAN_CONTROLLER
 SG_ sync : 0|3@1+ (1,0) [0|7] "" BENCH
 SG_ losses : 8|16@1+ (1,0) [0|65535] "" BENCH
 SG_ overruns : 24|8@1+ (1,0) [0|255] "" BENCH

VAL_ {STATE_ID} sync {" ".join(f'{n} "{word}"' for word, n in SYNC_CODES.items())} ;
"""
"""Two invented messages. `advance` is in the other byte order, as mixed databases have it."""

BITS_PER_FRAME = 47
"""Of a frame with an 11-bit identifier without data and stuffing: ISO 11898-1, with interframe."""


def frame_ticks(frame: CanFrame, bitrate: int, tick_hz: int) -> int:
    """How long a frame occupies the bus, stuff bits left out."""
    bits = BITS_PER_FRAME + 8 * len(frame.data)
    return -(-bits * tick_hz // bitrate)


def frames(reading: Reading) -> list[CanFrame]:
    """One report."""
    rpm = min(round(reading.rpm * 4), 0xFFFF)
    advance = max(-2048, min(round(reading.advance_deg * 10), 2047)) & 0xFFF
    speed = struct.pack("<H", rpm) + struct.pack(">H", advance << 4) + bytes(1)
    speed += bytes((int(reading.cut),)) + bytes(2)
    code = SYNC_CODES[str(reading.sync)]
    state = struct.pack("<BHB", code, reading.losses & 0xFFFF, reading.overruns & 0xFF)
    return [CanFrame(SPEED_ID, speed), CanFrame(STATE_ID, state)]


class FrameQueue:
    """Frames that leave one after the other, as slowly as the bus."""

    def __init__(self, settings: ReportSettings, tick_hz: int) -> None:
        self._bitrate = settings.bitrate
        self._tick_hz = tick_hz
        self._free_at = 0
        self._sending: deque[tuple[int, CanFrame]] = deque()

    def send(self, tick: int, frame: CanFrame) -> None:
        """Send as soon as the bus is free."""
        ticks = frame_ticks(frame, self._bitrate, self._tick_hz)
        self._free_at = max(self._free_at, tick) + ticks
        self._sending.append((self._free_at, frame))

    def sent(self, now: int) -> tuple[tuple[int, Piece], ...]:
        """The frames that are over by now."""
        gone: list[tuple[int, Piece]] = []
        while self._sending and self._sending[0][0] <= now:
            gone.append(self._sending.popleft())
        return tuple(gone)


class CanSpeaker:
    """Sends both messages for each report."""

    def __init__(self, settings: ReportSettings, tick_hz: int) -> None:
        self._queue = FrameQueue(settings, tick_hz)

    def report(self, tick: int, reading: Reading) -> None:
        for frame in frames(reading):
            self._queue.send(tick, frame)

    def ask(self, tick: int, piece: Piece, reading: Reading) -> None:
        """Other frames on the bus are not for this controller."""

    def sent(self, now: int) -> tuple[tuple[int, Piece], ...]:
        return self._queue.sent(now)
