"""The simulated controller's binary record, and how a bench file declares it."""

from __future__ import annotations

import struct

from crcmod.predefined import mkPredefinedCrcFun

from edgewheel.controller.sim.report import Reading

HEADER = b"\xa5\x5a"
SYNC_CODES = {"none": 0, "firing": 1, "crank": 2, "full": 3}
_BODY = struct.Struct("<2sIHBHbBB")
_CRC = struct.Struct("<H")
_crc = mkPredefinedCrcFun("crc-ccitt-false")

_WORDS = ", ".join(f"{code}: {word}" for word, code in SYNC_CODES.items())

LAYOUT = f"""\
size: {_BODY.size + _CRC.size}
header: a5 5a
byte_order: little
fields:
  t: {{at: 2, type: u32, scale: 0.001}}
  rpm: {{at: 6, type: u16, scale: 0.25}}
  sync: {{at: 8, type: u8, words: {{{_WORDS}}}}}
  losses: {{at: 9, type: u16}}
  advance: {{at: 11, type: i8, scale: 0.5}}
  overruns: {{at: 12, type: u8}}
  cut: {{at: 13, type: u8, bit: 0}}
checksum: {{crc: crc-ccitt-false, at: {_BODY.size}, type: u16, first: 2}}
"""
"""As `records:` of a bench file: 16 bytes, little-endian, with a CRC over all but the header."""


def record(reading: Reading) -> bytes:
    """One record; what is too large for its field is cut off at its largest value."""
    body = _BODY.pack(
        HEADER,
        int(reading.seconds * 1000) & 0xFFFF_FFFF,
        min(round(reading.rpm * 4), 0xFFFF),
        SYNC_CODES[str(reading.sync)],
        reading.losses & 0xFFFF,
        max(-128, min(round(reading.advance_deg * 2), 127)),
        reading.overruns & 0xFF,
        int(reading.cut),
    )
    return body + _CRC.pack(_crc(body[len(HEADER) :]))
