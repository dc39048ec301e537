"""The vectors that the host's code is held to as well: frames and streams, good and wrong."""

from __future__ import annotations

import ctypes
import json
from pathlib import Path
from typing import Any

import pytest

from firmware.kit import native

VECTORS = json.loads((Path(__file__).parent / "vectors" / "wire.json").read_text(encoding="utf-8"))
UNFIT = 0xFFFFFFFF


class _Frame(ctypes.Structure):
    _fields_ = (
        ("type", ctypes.c_uint8),
        ("seq", ctypes.c_uint8),
        ("size", ctypes.c_uint32),
        ("payload", ctypes.POINTER(ctypes.c_uint8)),
    )


@pytest.fixture(scope="module")
def core(tmp_path_factory: pytest.TempPathFactory) -> ctypes.CDLL:
    """The core with the short history that the vectors are made for."""
    library = native.build(tmp_path_factory.mktemp("vectors"), "-DHISTORY_SLOTS=2048u")
    lib = ctypes.CDLL(str(library))
    lib.frame_feed.restype = ctypes.c_bool
    lib.stream_supply.restype = ctypes.c_uint32
    lib.stream_supply.argtypes = [ctypes.c_uint64]
    lib.stream_push.argtypes = [ctypes.c_char_p, ctypes.c_uint32]
    lib.sim_history.restype = ctypes.c_uint32
    return lib


@pytest.mark.parametrize("piece", [1, 7, 10_000])
@pytest.mark.parametrize("vector", VECTORS["frames"], ids=lambda v: v["name"])
def test_frames(core: ctypes.CDLL, vector: dict[str, Any], piece: int) -> None:
    core.frame_wake()
    wire = bytes.fromhex(vector["wire"])
    good = []
    for begin in range(0, len(wire), piece):
        buffer = ctypes.create_string_buffer(wire[begin : begin + piece])
        at = ctypes.c_void_p(ctypes.addressof(buffer))
        end = ctypes.c_void_p(ctypes.addressof(buffer) + len(wire[begin : begin + piece]))
        frame = _Frame()
        while core.frame_feed(ctypes.byref(at), end, ctypes.byref(frame)):
            payload = bytes(frame.payload[: frame.size]).hex()
            good.append({"type": frame.type, "seq": frame.seq, "payload": payload})
    assert good == vector["good"]
    assert core.frame_bad() == vector["bad"]


@pytest.mark.parametrize("vector", VECTORS["streams"], ids=lambda v: v["name"])
def test_streams(core: ctypes.CDLL, vector: dict[str, Any]) -> None:
    limits = vector["limits"]
    core.stream_open(limits["first_tick"], limits["shortest_hold_ticks"])
    ticks, masks, tick, fault = [], [], 0, None
    for number, payload in enumerate(map(bytes.fromhex, vector["payloads"])):
        if core.stream_push(payload, len(payload)) != 0:
            fault = number
            break
        supply = core.stream_supply(len(ticks))
        if supply == UNFIT:
            fault = number
            break
        for _ in range(supply):
            mask = ctypes.c_uint8()
            tick += core.sim_history(len(ticks), ctypes.byref(mask))
            ticks.append(tick)
            masks.append(mask.value)
    assert fault == vector["fault"]
    assert ticks == vector["expect"]["ticks"]
    assert bytes(masks).hex() == vector["expect"]["masks"]
