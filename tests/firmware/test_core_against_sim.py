"""The core and the simulated board, two makings of one page: the same bytes at the same ticks
give the same answers."""

from __future__ import annotations

import random
import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from edgewheel.board.run import SimSettings
from edgewheel.board.sim import SimBoard
from edgewheel.link.waves import HalfWave, WaveForm
from firmware.kit.native import MS, TICK_HZ, Native
from firmware.kit.stream import RandomEncoder
from firmware.kit.wire import Host, arm, end, splice

FIELDS = (
    "next_seq", "state", "reason", "flags", "run", "epoch", "refused_epoch", "token", "credit",
    "played", "last_tick", "epoch_first", "queued", "bad_frames", "missed_frames",
)  # fmt: skip
SETTINGS = replace(SimSettings(), tick_hz=TICK_HZ, first_tick=160, firmware="native")


class Simulated:
    """The simulated board behind the face of the native one."""

    def __init__(self) -> None:
        self.board = SimBoard(SETTINGS, tick=1)
        self.now = 1
        self.sent = b""
        self.changes: list[tuple[int, int]] = []
        self.host = Host(self)

    def write(self, data: bytes) -> None:
        self.board.receive(data, self.now)

    def take(self) -> bytes:
        data, self.sent = self.sent, b""
        return data

    def drop(self) -> None:
        self.board.disconnect(self.now)

    def run(self, ticks: int) -> None:
        until = self.now + ticks
        while True:
            data, due = self.board.poll(self.now)
            self.sent += data
            if self.now >= until:
                break
            self.now = min(max(due, self.now + 1), until)
            changes = self.board.advance(self.now)
            self.changes += zip(changes.ticks.tolist(), changes.masks.tolist(), strict=True)
        self.host.listen()


class Script:
    """A host that does something random every few milliseconds, right or wrong; the same for
    every board."""

    def __init__(self, seed: int, board: Any) -> None:
        self.rng = random.Random(seed)
        self.board = board
        self.encoder = RandomEncoder(seed, 7168)
        self.epoch = 0
        self.firsts = [0]

    def edges(self) -> None:
        rng = self.rng
        count, longest = rng.choice([(1, 400_000), (40, 40_000), (300, 4_000)])
        items = [(rng.randint(160, longest), rng.randrange(256)) for _ in range(count)]
        for payload in self.encoder.payloads(items, self.epoch):
            if rng.random() < 0.01:
                payload = payload[:-1] + bytes([payload[-1] ^ 4])
            self.firsts.append(int.from_bytes(payload[3:7], "little"))
            self.board.host.send("EDGES", payload)

    def close(self) -> None:
        wrong = self.rng.random() < 0.1
        known = len(self.encoder.past)
        self.board.host.send("END", end(self.epoch, known + wrong, self.encoder.tick))

    def course(self) -> None:
        """A new course near the end of what is known, which both boards take or refuse."""
        first = self.rng.choice(self.firsts[-3:])
        after = self.rng.randrange(256)
        host = self.board.host
        host.send("SPLICE", splice(self.epoch, after, first))
        self.board.run(1)
        if host.status.epoch == after and not host.status.flags & 2:
            self.encoder.splice(first)
            self.epoch = after
            self.firsts = [f for f in self.firsts if f <= first] + [first]

    def garbage(self) -> None:
        self.board.write(bytes(self.rng.randrange(256) for _ in range(20)) + b"\0")

    def strange(self) -> None:
        self.board.host.send("EDGES", struct.pack("<BHII", self.epoch ^ 0x55, 1, 0, 0))

    def hole(self) -> None:
        self.board.host.send("START", b"\1\0", seq=self.board.host.seq + self.rng.choice([1, -1]))

    def config(self) -> None:
        """A wave switched on or off, or something that no wave can be."""
        rng = self.rng
        output, row = rng.choice([2, 7, 9, 0xFF]), rng.randbytes(17)
        knee = rng.randrange(2, 100_000)
        kinds = (HalfWave(knee, row), HalfWave(3 * knee, row))
        payload = WaveForm(rng.randint(1, 32767), 1, kinds).config(rng.randrange(3), output).pack()
        self.board.host.send("CONFIG", payload[: rng.choice([-1, 99, 99])])

    def step(self) -> None:
        host = self.board.host
        odds = {
            "edges": 12,
            "close": 1,
            "course": 1,
            "garbage": 1,
            "strange": 1,
            "hole": 1,
            "start": 3,
            "stop": 0.3,
            "config": 1,
        }
        name = self.rng.choices(list(odds), list(odds.values()))[0]
        if name == "start":
            host.start(1)
        elif name == "stop":
            host.stop(self.rng.choice([1, 7, 0xFFFF]))
        else:
            getattr(self, name)()
        host.poll(self.rng.randrange(1 << 32))


def play(seed: int, board: Any) -> list[dict[str, int]]:
    """What the board says after each step of a script."""
    script = Script(seed, board)
    board.host.hello()
    for _ in range(4):
        script.config()
    board.host.send("ARM", arm(park_after_ms=50, host_timeout_ms=300))
    said = []
    for _ in range(60):
        script.step()
        board.run(script.rng.choice([1, 1, 1, 4, 30]) * MS)
        said.append({field: getattr(board.host.status, field) for field in FIELDS})
    return said


@pytest.mark.parametrize("seed", range(60))
def test_both_boards_say_the_same(native_library: Path, seed: int) -> None:
    core, simulated = Native(native_library), Simulated()
    assert play(seed, core) == play(seed, simulated)
    assert core.host.refused == simulated.host.refused
    pins = [(tick, mask) for tick, mask in core.edges() if tick > 1]
    moved = [
        pair for before, pair in zip([(0, 0), *pins], pins, strict=False) if before[1] != pair[1]
    ]
    simulated_moved = [
        pair
        for before, pair in zip([(0, 0), *simulated.changes], simulated.changes, strict=False)
        if before[1] != pair[1]
    ]
    assert moved == simulated_moved
