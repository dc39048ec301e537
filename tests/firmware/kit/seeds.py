"""Inputs that the fuzzer starts from: whole runs, as its steps."""

from __future__ import annotations

import struct
from pathlib import Path

from firmware.kit.stream import RandomEncoder
from firmware.kit.tables import TYPES
from firmware.kit.wire import arm, end, splice

FRAME, TWICE, SWAPPED, TIME = 1, 4, 5, 6


def step(kind: int, data: bytes = b"", length: int | None = None) -> bytes:
    return bytes([kind, len(data) if length is None else length]) + data


def frame(type_: str, payload: bytes, kind: int = FRAME) -> bytes:
    return step(kind, bytes([TYPES[type_]]) + payload)


def write(folder: Path) -> None:
    """A handful of seeds: a run to its end, a splice, a starved run, a repeated and a swapped
    frame."""
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(8):
        encoder = RandomEncoder(seed, 1024, lags=(1, 2, 5))
        items = [(200 + 7 * n % 50 + (n == 0) * 200, n * 37 & 0xFF) for n in range(40)]
        out = frame("HELLO", struct.pack("<4sIBB", b"EDWH", seed, 1, 0))
        out += frame("ARM", arm(inputs=0xFF, park_after_ms=5, host_timeout_ms=50))
        for payload in encoder.payloads(items):
            out += frame("EDGES", payload, [FRAME, FRAME, TWICE, SWAPPED][seed % 4])
        out += frame("START", struct.pack("<H", 1)) + step(TIME, length=1)
        if seed & 1:
            out += frame("SPLICE", splice(0, 1, len(items)))
            for payload in encoder.payloads([(9_000, 1), (400, 2)], epoch=1):
                out += frame("EDGES", payload)
        if seed & 2:
            out += frame("END", end(seed & 1, len(encoder.past), encoder.tick))
        out += step(TIME, length=200) + frame("PARK", struct.pack("<H", 0xFFFF))
        (folder / f"seed{seed}").write_bytes(out)
