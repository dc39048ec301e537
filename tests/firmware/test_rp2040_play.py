"""What the real image puts on its pins, cycle by cycle."""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest

from firmware.kit.emulator import HZ, MS, Emulator
from firmware.kit.player import Player, errors
from firmware.kit.stream import RandomEncoder, Transition

DEPTH = 7168


def cyclic(seed: int, count: int, rate_hz: float, period: int = 240) -> list[Transition]:
    """Transitions that repeat with a cycle, a few cycles off here and there, at a mean rate."""
    rng = random.Random(seed)
    mean = HZ / rate_hz
    cycle = [
        (max(8, round(mean * rng.uniform(0.2, 1.8))), rng.randrange(256)) for _ in range(period)
    ]
    found = [
        (max(5, d + rng.randint(-3, 3)), m) for d, m in (cycle[n % period] for n in range(count))
    ]
    found[0] = (2_000, found[0][1] or 1)
    return found


def run_through(board: Emulator, transitions: list[Transition], seed: int = 1) -> None:
    """Plays all of it, and holds pins and STATUS to it."""
    encoder = RandomEncoder(seed, DEPTH, lags=(1, 2, 240))
    player = Player(board, encoder.payloads(transitions), len(transitions), encoder.tick)
    player.arm()
    board.edges()
    player.start()
    player.finish()
    assert (board.host.state, board.host.reason) == ("holding", "end")
    assert board.host.status.played == board.host.status.handed == len(transitions)
    assert board.host.status.last_tick == encoder.tick
    assert (errors(board.edges(), transitions) == 0).all()


@pytest.mark.parametrize("rate_hz", [2_000, 50_000, 150_000])
def test_every_edge_is_at_its_cycle(emulator: Callable[..., Emulator], rate_hz: int) -> None:
    run_through(emulator(), cyclic(rate_hz, 6_000, rate_hz))


def test_shortest_and_longest_holds(emulator: Callable[..., Emulator]) -> None:
    """40 ns pulses in bursts, and a hold of 1.2 s that is handed over in parts."""
    burst = [(5, n & 1) for n in range(1, 400)]
    holds = [(MS, 1), (150 * MS, 2), (8_388_611, 4), (8_388_612, 8), (2_500_001, 16)]
    tail = [(5, 32), (6, 33), (7, 34)]
    run_through(emulator(), [(1_250, 2), *burst, *holds, *burst, *tail, *burst])


def test_skipping_idle_cycles_changes_nothing(emulator: Callable[..., Emulator]) -> None:
    """The harness leaves out cycles in which nothing can happen; without that, edges and
    captures are the same."""
    transitions = cyclic(7, 300, 20_000)
    seen = []
    for options in ([], ["--no-skip"]):
        board = emulator(*options)
        board.ask(loop=[[0, 0], [3, 5]])
        encoder = RandomEncoder(1, DEPTH)
        player = Player(board, encoder.payloads(transitions), len(transitions), encoder.tick)
        player.arm(inputs=0xFF)
        player.start()
        player.finish()
        board.run(10 * MS)
        seen.append((*(part.tolist() for part in board.edges()), board.host.pulses))
    assert seen[0] == seen[1]
    assert len(seen[0][3]) > 50


def test_a_run_says_where_it_began(emulator: Callable[..., Emulator]) -> None:
    """start_tick is the very cycle of run tick 0, seen through an input wired to an output."""
    board = emulator()
    board.ask(loop=[[0, 0]])
    transitions = [(MS, n & 1) for n in range(1, 60)]
    encoder = RandomEncoder(1, DEPTH)
    player = Player(board, encoder.payloads(transitions), len(transitions), encoder.tick)
    player.arm(inputs=1)
    player.start()
    player.finish()
    board.run(10 * MS)
    begin = board.host.status.start_tick
    planned = np.arange(1, 60) * MS
    late = np.array([tick - begin for tick, _ in board.host.pulses]) - planned
    assert [level for _, level in board.host.pulses] == [n & 1 for n in range(1, 60)]
    print(f"captured minus planned: {late.min()} to {late.max()} cycles")
    assert late.min() >= 0
    assert late.max() <= 10
