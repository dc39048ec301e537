"""Frames on the wire, PROTOCOL.md section 1: COBS(type, sequence, payload, CRC-32) and a zero."""

from __future__ import annotations

import zlib
from typing import NamedTuple

LARGEST_FRAME = 250
SMALLEST_FRAME = 6

_CODES = [bytes((length + 1,)) for length in range(LARGEST_FRAME + 1)]


class Frame(NamedTuple):
    """One frame whose CRC was right."""

    type: int
    seq: int
    payload: bytes


def cobs_encode(data: bytes) -> bytes:
    """Stuff at most 250 bytes so that no zero is left; one code byte longer than `data`.

    Below 254 bytes every group of the code ends at a zero of the data or at its end, which is all
    that is needed here. Source: Cheshire and Baker, Consistent Overhead Byte Stuffing, IEEE/ACM
    Trans. Networking 7(2), 1999.
    """
    if len(data) > LARGEST_FRAME:
        raise ValueError(f"a frame holds at most {LARGEST_FRAME} bytes, not {len(data)}")
    groups = data.split(b"\0")
    return b"".join([_CODES[len(group)] + group if group else b"\1" for group in groups])


def cobs_decode(block: bytes) -> bytes | None:
    """The bytes that :func:`cobs_encode` stuffed, or None if `block` is not such a code."""
    out = bytearray(block)
    at, end = 0, len(out)
    while at < end:
        step = out[at]
        if not step:
            return None
        out[at] = 0
        at += step
    return bytes(out[1:]) if at == end else None


def encode_frame(type_: int, seq: int, payload: bytes) -> bytes:
    """The bytes to send, closing zero included; ValueError if the frame is too long."""
    body = bytes((type_, seq)) + payload
    return cobs_encode(body + zlib.crc32(body).to_bytes(4, "little")) + b"\0"


def decode_frame(block: bytes) -> Frame | None:
    """The frame in a block of bytes between two zeros, or None if COBS, length or CRC is wrong."""
    if len(block) > LARGEST_FRAME + 1:
        return None
    data = cobs_decode(block)
    if data is None or len(data) < SMALLEST_FRAME:
        return None
    body = data[:-4]
    if zlib.crc32(body) != int.from_bytes(data[-4:], "little"):
        return None
    return Frame(body[0], body[1], body[2:])


class FrameDecoder:
    """Finds frames in a stream that comes in pieces of any size, and counts those that fail."""

    def __init__(self) -> None:
        self.bad_frames = 0
        self._rest = b""

    def feed(self, data: bytes) -> list[Frame]:
        """The good frames that `data` completes, in order."""
        *blocks, rest = (self._rest + data).split(b"\0")
        # One byte past the limit is enough to know that a block is too long, so memory stays
        # bounded.
        self._rest = rest[: LARGEST_FRAME + 2]
        frames = []
        for block in blocks:
            if not block:
                continue
            frame = decode_frame(block)
            if frame is None:
                self.bad_frames += 1
            else:
                frames.append(frame)
        return frames
