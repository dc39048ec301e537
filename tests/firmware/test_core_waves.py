"""The waves of VR outputs in the core: the shared vectors, the simulated board's making of the same
page, and the codes of a whole run."""

from __future__ import annotations

import ctypes
import json
import random
from bisect import bisect_right
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from edgewheel.link.messages import MalformedError
from edgewheel.link.waves import HalfWave, Number, Numbers, WaveForm, WaveTrack
from firmware.kit.native import MS, Native
from firmware.kit.stream import RandomEncoder
from firmware.kit.tables import REFUSALS, TYPES
from firmware.kit.wire import arm, end, splice
from plain_waves import MIDDLE, OUTPUT, code_of, lifted

VECTORS = json.loads((Path(__file__).parent / "vectors" / "wire.json").read_text(encoding="utf-8"))
SINE = bytes((0, 50, 98, 142, 180, 212, 236, 250, 255, 250, 236, 212, 180, 142, 98, 50, 0))
HALF_WAVES = (HalfWave(MS // 2, SINE), HalfWave(3 * MS // 2, SINE))
FORM = WaveForm(30_000, 1, HALF_WAVES)
WHOLE = WaveForm(30_000, 1, HALF_WAVES, 25 * MS, Numbers(0, (Number(), Number(1_400, 0))))
CODE_TICKS = 128


class _Row(ctypes.Structure):
    _fields_ = (("knee_ticks", ctypes.c_uint32), ("shape", ctypes.c_uint8 * 17))


class _Number(ctypes.Structure):
    _fields_ = (("strength", ctypes.c_uint16), ("row", ctypes.c_uint8))


class _Form(ctypes.Structure):
    _fields_ = (
        ("output", ctypes.c_uint8),
        ("approach", ctypes.c_uint8),
        ("peak", ctypes.c_uint16),
        ("row_count", ctypes.c_uint8),
        ("rows", _Row * 8),
        ("corner_ticks", ctypes.c_uint32),
        ("first_bit", ctypes.c_uint8),
        ("last_number", ctypes.c_uint8),
        ("numbers", _Number * 16),
    )


class _Speed(ctypes.Structure):
    _fields_ = (("knee_ticks", ctypes.c_uint32), ("ticks", ctypes.c_uint32))


class _Track(ctypes.Structure):
    _fields_ = (
        ("kept", _Speed),
        ("before", _Speed),
        ("spike_ticks", ctypes.c_uint32),
        ("spikes", ctypes.c_uint8),
        ("misfits", ctypes.c_uint8),
    )


class _Half(ctypes.Structure):
    _fields_ = (
        ("row", ctypes.c_uint8),
        ("level", ctypes.c_uint8),
        ("height", ctypes.c_uint16),
        ("reciprocal", ctypes.c_uint64),
    )


class _Droop(ctypes.Structure):
    _fields_ = (("sum", ctypes.c_int64), ("rate", ctypes.c_int32), ("fade", ctypes.c_int32))


class _Part(ctypes.Structure):
    _fields_ = tuple((name, ctypes.c_uint32) for name in ("at", "every", "count"))


@pytest.fixture(scope="module")
def lib(native_library: Path) -> ctypes.CDLL:
    lib = ctypes.CDLL(str(native_library))
    lib.wave_tell.restype = _Half
    lib.wave_droop_of.restype = _Droop
    return lib


@pytest.mark.parametrize("vector", VECTORS["waves"], ids=lambda v: v["name"])
def test_vectors(lib: ctypes.CDLL, vector: dict[str, Any]) -> None:
    form, track, fields = _Form(), _Track(), bytes.fromhex(vector["fields"])
    assert lib.wave_read(ctypes.byref(form), fields, len(fields)) == 0
    form.output = OUTPUT
    droop = lib.wave_droop_of(ctypes.byref(form), vector["code_ticks"])
    told, codes = [], []
    columns = (vector[key] for key in ("lengths", "masks", "at", "counts"))
    for ticks, mask, at, count in zip(*columns, strict=True):
        half = lib.wave_tell(ctypes.byref(form), ctypes.byref(track), ctypes.c_uint32(ticks), mask)
        told.append((half.row, half.height))
        part, out = _Part(at, vector["code_ticks"], count), (ctypes.c_uint16 * count)()
        lib.wave_codes(ctypes.byref(form), ctypes.byref(half), ctypes.byref(droop), part, out)
        codes += out
    assert told == list(zip(vector["kinds"], vector["heights"], strict=True))
    assert codes == vector["codes"]


def random_fields(rng: random.Random) -> bytes:
    """Fields that are right, or wrong in some way."""
    parts, knee = [], 0
    for _ in range(rng.choice((0, 1, 2, 3, 8, 9))):
        knee += rng.choice((0, 1, 500, 2**20)) if rng.random() < 0.2 else rng.randint(1, 2**24)
        parts.append(bytes((2, 21)) + knee.to_bytes(4, "little") + rng.randbytes(17))
    parts.append(
        bytes((1, 2)) + rng.randrange(2**16 if rng.random() < 0.2 else 2**15).to_bytes(2, "little")
    )
    parts.append(bytes((3, 1, rng.choice((0, 1, 1, 2)))))
    if rng.random() < 0.3:
        parts.append(bytes((4, 4)) + rng.choice((0, 1, 2**32 - 1)).to_bytes(4, "little"))
    if rng.random() < 0.3:
        kinds = rng.choice(((0, 15), (0, 1, 15), (8,)))
        words = [rng.randrange(4096) + 4096 * rng.choice(kinds) for _ in range(32)]
        values = b"".join(word.to_bytes(2, "little") for word in words)
        values = values[: 2 * rng.choice((1, 2, 3, 4, 16, 32)) - (rng.random() < 0.1)]
        first = rng.choice((0, 4, 5, 7, 8, 255))
        parts.append(bytes((5, 1 + len(values), first)) + values)
    unknown = rng.choice((0, 6, 200, rng.choice((1, 2, 3, 4, 5))))
    size = rng.randrange(5)
    parts.insert(rng.randrange(len(parts)), bytes((unknown, size)) + rng.randbytes(size))
    fields = b"".join(parts)
    return fields[: rng.randrange(len(fields))] if rng.random() < 0.2 else fields


def test_both_boards_take_and_refuse_the_same_fields(lib: ctypes.CDLL) -> None:
    rng, seen = random.Random(9), set()
    for _ in range(3_000):
        fields = random_fields(rng)
        try:
            WaveForm.read(fields)
            wanted = 0
        except MalformedError:
            wanted = 1
        except ValueError:
            wanted = 2
        seen.add(wanted)
        assert lib.wave_read(ctypes.byref(_Form()), fields, len(fields)) == wanted, fields.hex()
    assert seen == {0, 1, 2}


def configure(board: Native, form: WaveForm = FORM, wave: int = 1, output: int = 2) -> None:
    config = form.config(wave, output)
    board.host.send("CONFIG", config.pack())


def wanted_codes(form: WaveForm, crossings: list[tuple[int, int]], ticks: list[int]) -> list[int]:
    """The codes at run ticks of a wave whose output is low first; each crossing with its mask."""
    track, told = WaveTrack(form), []
    for (begin, mask), (past, _) in pairwise(crossings):
        told.append(track.tell(past - begin, mask))
    found, starts = [], [tick for tick, _ in crossings]
    for tick in ticks:
        n = bisect_right(starts, tick) - 1
        inside = 0 <= n < len(told)
        length, at = (starts[n + 1] - starts[n], tick - starts[n]) if inside else (0, 0)
        found.append(code_of(form, told[n], (n + 1) & 1, length, at) if inside else MIDDLE)
    return lifted(found, CODE_TICKS, form.corner_ticks)


def deltas(rng: random.Random, count: int) -> list[tuple[int, int]]:
    """Transitions of output 2 among those of output 0: a wheel with a gap, faster and slower."""
    found, mask = [(200, 0)], 0
    for n in range(count):
        length = (3 if n % 20 in (18, 19) else 1) * rng.randint(MS // 2, MS * 2)
        mask ^= 1
        found.append((length // 3, mask))
        mask ^= 4
        found.append((length - length // 3, mask))
    return found


@pytest.mark.parametrize(
    ("form", "spliced"), [(FORM, True), (WHOLE, False), (replace(WHOLE, corner_ticks=0), True)]
)
def test_the_codes_of_a_run(board: Native, form: WaveForm, spliced: bool) -> None:
    """Every code is that of its crossings, to the last one known; then the wave rests. After a
    new course too, that cuts off a half-wave whose end was known already. Output 0 makes half-waves
    weaker where the form says so, and what the form's high-pass takes away is added."""
    items = deltas(random.Random(3), 60)
    encoder = RandomEncoder(1, 100)
    configure(board, form)
    board.host.send("ARM", arm())
    payloads = encoder.payloads(items)
    for payload in payloads:
        board.host.send("EDGES", payload)
    if not spliced:
        board.host.send("END", end(0, len(items), encoder.tick))
    board.host.start()
    epoch = 0
    if spliced:
        board.run(MS)
        first = next(
            int.from_bytes(p[3:7], "little") for p in payloads[1:]
            if int.from_bytes(p[3:7], "little") >= board.host.status.handed + 1
        )  # fmt: skip
        board.host.send("SPLICE", splice(0, 1, first))
        encoder.splice(first)
        items = [*items[:first], *[(d * 3 // 2, m) for d, m in items[first:]]]
        for payload in encoder.payloads(items[first:], 1):
            board.host.send("EDGES", payload)
        epoch = 1
        board.host.send("END", end(1, len(items), encoder.tick))
    codes = []
    for _ in range(sum(d for d, _ in items) // MS + 30):
        board.run(MS)
        codes += board.codes()
    assert (board.host.state, board.host.reason) == ("holding", "end")
    assert board.host.status.epoch == epoch
    start, tick, last, crossings = board.host.status.start_tick, 0, 0, []
    for delta, mask in items:
        tick += delta
        if (mask ^ last) & 4:
            crossings.append((tick, mask))
        last = mask
    assert len(codes) > 1_000
    assert all(b[0] - a[0] == CODE_TICKS for a, b in pairwise(codes))
    begin = crossings[-12][0] if spliced else 0
    assert {idle for _, idle, _ in codes} == {MIDDLE}
    ticks = [at - start for at, _, _ in codes]
    wanted = wanted_codes(form, crossings, ticks)
    for tick, (_, _, value), code in zip(ticks, codes, wanted, strict=True):
        if tick >= begin:
            assert value == code, (tick, crossings)
    assert codes[-1][0] - start < tick + 2 * MS


def test_config_is_of_no_use_in_a_run_and_refused_with_a_wave_there_is_not(board: Native) -> None:
    configure(board, wave=2)
    configure(board, output=8)
    board.host.send("CONFIG", FORM.config(0, 0).pack()[:-1])
    board.host.send("CONFIG", b"\0")
    board.host.send("ARM", arm())
    configure(board)
    board.run(MS)
    codes = [code for type_, _, code in board.host.refused if type_ == TYPES["CONFIG"]]
    names = ("value", "value", "malformed", "malformed", "state")
    assert codes == [REFUSALS[name] for name in names]


def test_a_wave_is_switched_on_and_off(board: Native) -> None:
    for config, seen in ((FORM.config(1, 2).pack(), 2), (b"\1\xff", 0)):
        board.host.send("CONFIG", config)
        board.host.hello(session=seen + 5)
        board.run(MS)
        assert board.host.welcome is not None
        assert board.host.welcome["configured"] == seen
        assert board.host.welcome["waves"] == 2


def test_status_tells_the_levels_of_the_inputs_at_arm(board: Native) -> None:
    board.lib.sim_input(board.now, 0b1010)
    board.run(MS)
    board.host.send("ARM", arm(inputs=0b0110))
    board.run(MS)
    assert board.host.status.armed_levels == 0b0010
