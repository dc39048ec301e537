"""Edges on the inputs, all eight at once, while the outputs play."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest

from firmware.kit.emulator import HZ, MS, Emulator
from firmware.kit.player import Player, errors
from firmware.kit.stream import RandomEncoder

HALF_A_MICROSECOND = HZ // 2_000_000


def injected(
    rng: random.Random, begin: int, end: int, mean_ticks: int
) -> list[tuple[int, int, int]]:
    """Changes of eight inputs, each line on its own; of one line never nearer than 2 us."""
    changes = []
    for line in range(8):
        tick, level = begin + rng.randrange(mean_ticks), 1
        while tick < end:
            changes.append((tick, line, level))
            level ^= 1
            tick += 250 + int(rng.expovariate(1 / mean_ticks))
    return sorted(changes)


@pytest.mark.parametrize("mean_us", [40, 1_000])
def test_all_inputs_at_once_while_playing(emulator: Callable[..., Emulator], mean_us: int) -> None:
    board = emulator()
    rng = random.Random(mean_us)
    transitions = [(2_000, 1)] + [(rng.randint(200, 5_000), n & 0xFF) for n in range(2, 30_000)]
    encoder = RandomEncoder(1, 7168)
    player = Player(board, encoder.payloads(transitions), len(transitions), encoder.tick)
    player.arm(inputs=0xFF)
    player.fill(100_000)
    board.edges()
    now = board.last["cycle"]
    changes = injected(rng, now + 2 * MS, now + 200 * MS, mean_us * 125)
    board.ask(inputs=changes)
    board.host.start()
    board.run(MS)
    player.finish()
    board.run(50 * MS)
    assert board.host.reason == "end"
    edges = board.edges()
    assert (errors(edges, transitions) == 0).all()
    wake = int(edges[0][0]) - (board.host.status.start_tick + 2_000)
    check(board, changes, wake)


def check(board: Emulator, changes: list[tuple[int, int, int]], wake: int) -> None:
    """Every change of every line is there, in time; `wake` is the board's tick 0 in cycles of
    the chip."""
    assert board.host.status.lost_pulses == 0
    seen: list[list[int]] = [[] for _ in range(8)]
    before = 0
    for tick, levels in board.host.pulses:
        for line in range(8):
            if (before ^ levels) >> line & 1:
                seen[line].append(tick)
        before = levels
    worst = 0
    for line in range(8):
        true = [tick - wake for tick, at, _ in changes if at == line]
        assert len(seen[line]) == len(true)
        late = np.array(seen[line]) - np.array(true)
        assert late.min() >= 0
        worst = max(worst, int(late.max()))
    print(f"{len(changes)} changes on 8 lines, at most {worst} cycles ({worst * 8} ns) late")
    assert worst <= HALF_A_MICROSECOND


def test_changes_that_find_no_room_are_counted(emulator: Callable[..., Emulator]) -> None:
    """More than the ring takes between two looks of the processor: the host learns that some
    are missing."""
    board = emulator()
    board.host.send("ARM", bytes([1, 0, 0, 0, 0, 0xFF, 0xE8, 3, 0x88, 0x13]))
    board.run(5 * MS)
    now = board.last["cycle"] + MS
    board.ask(inputs=[(now + 24 * n, 0, n + 1 & 1) for n in range(60_000)])
    for _ in range(40):
        board.run(MS)
    assert board.host.status.lost_pulses > 0
    assert 59_000 < len(board.host.pulses) + board.host.status.lost_pulses <= 60_000


def test_a_pause_longer_than_the_counter_does_not_matter(emulator: Callable[..., Emulator]) -> None:
    board = emulator()
    board.host.send("ARM", bytes([1, 0, 0, 0, 0, 0xFF, 0xE8, 3, 0x10, 0x27]))
    board.run(5 * MS)
    begin = board.last["cycle"]
    changes = [
        (begin + gap * MS, 3, n & 1) for n, gap in enumerate([100, 900, 1_900, 2_900, 3_000], 1)
    ]
    board.ask(inputs=changes)
    for _ in range(32):
        board.run(100 * MS)
    ticks = [tick for tick, _ in board.host.pulses]
    spread = np.diff(ticks) - np.diff([tick for tick, _, _ in changes])
    assert len(ticks) == 5
    assert np.abs(spread).max() <= 7
