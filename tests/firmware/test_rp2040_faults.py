"""What the real image does when the host stops sending, falls silent, vanishes, or the board
itself hangs."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest

from firmware.kit.emulator import HZ, MS, Emulator
from firmware.kit.player import Player
from firmware.kit.stream import RandomEncoder, Transition
from firmware.kit.tables import REASONS, STATES

DEPTH = 7168
SOON_AFTER_START = 15 * MS
"""The first edge comes 18 ms after START."""


def random_run(rng: random.Random, count: int, longest: int) -> list[Transition]:
    """Transitions of which each changes something."""
    mask, out = 0, []
    for n in range(count):
        mask ^= rng.randrange(1, 256)
        out.append((rng.randint(5, longest) + (2_000 if n == 0 else 0), mask))
    return out


def edges_of(transitions: list[Transition]) -> tuple[Any, Any]:
    return np.cumsum([d for d, _ in transitions]), np.array([m for _, m in transitions], np.uint8)


def starve(board: Emulator, rng: random.Random, run: int) -> bool:
    """One run without END, whose second part comes about when the first is over; whether it
    came in time."""
    longest = rng.choice([400, 4_000, 60_000])
    first = random_run(rng, rng.randint(1, 60), longest)
    encoder = RandomEncoder(rng.random(), DEPTH)
    payloads = encoder.payloads(first)
    known = encoder.tick
    second = encoder.payloads(random_run(rng, rng.randint(1, 40), longest))
    everything = list(encoder.past)
    player = Player(board, payloads, 0, None, run)
    player.arm(park_after_ms=60_000)
    board.edges()
    player.feed()
    board.host.start(run)
    board.run(max(1, known + rng.randint(-60_000, 90_000)))
    for payload in second:
        board.host.send("EDGES", payload)
    board.run(encoder.tick - known + MS)
    for _ in range(40):
        if board.host.state == "faulted":
            break
        board.run(MS)
    status = board.host.status
    assert (board.host.state, status.run) == ("faulted", run)
    assert board.host.reason in ("starved", "late")
    check_prefix(board, everything, status.played, status.last_tick)
    assert status.played in (len(first), len(everything))
    return bool(status.played == len(everything))


def check_prefix(board: Emulator, planned: list[Transition], played: int, last_tick: int) -> None:
    """The pins have shown exactly the first `played` transitions, each at its tick."""
    ticks, masks = edges_of(planned[:played])
    cycles, levels, _ = board.edges()
    moves = masks != np.concatenate(([0], masks[:-1]))
    ticks, masks = ticks[moves], masks[moves]
    levels, cycles = levels[-len(ticks) :], cycles[-len(ticks) :]
    assert (levels == masks).all()
    assert (cycles - cycles[0] == ticks - ticks[0]).all()
    assert last_tick == edges_of(planned[:played])[0][-1]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.slow
def test_starvation_at_250_random_moments(emulator: Callable[..., Emulator], seed: int) -> None:
    rng = random.Random(seed)
    board = emulator()
    in_time = sum(starve(board, rng, run + 1) for run in range(250))
    print(f"second part in time: {in_time} of 250")
    assert 25 < in_time < 225


def test_starvation_leaves_nothing_but_a_new_run(emulator: Callable[..., Emulator]) -> None:
    board = emulator()
    rng = random.Random(9)
    for run in range(1, 26):
        starve(board, rng, run)
    for type_, payload in (("START", b"\1\0"), ("SPLICE", bytes(10))):
        board.host.send(type_, payload)
    board.host.send("EDGES", RandomEncoder(1, DEPTH).payloads([(5_000, 255)])[0])
    board.run(20 * MS)
    assert [code for _, _, code in board.host.refused] == [3, 3]
    assert board.host.state == "faulted"
    assert len(board.edges()[0]) == 0
    starve(board, rng, 99)


@cache
def minutes_of_edges() -> list[bytes]:
    """EDGES that fill the board's buffer, transition n to mask n at tick 10,000 n."""
    return RandomEncoder(1, DEPTH).payloads([(10_000, n & 0xFF) for n in range(1, 75_001)])


def long_run(board: Emulator, idle: int = 0, **order: int) -> None:
    """Fills the board's buffer with minutes of edges and starts it."""
    player = Player(board, minutes_of_edges(), 0, None)
    player.arm(idle=idle, park_after_ms=50, **order)
    player.fill()
    board.edges()
    board.host.start()
    board.run(5 * MS)
    assert board.host.state == "running"


def test_stop_acts_at_once_with_a_full_queue(emulator: Callable[..., Emulator]) -> None:
    board = emulator()
    long_run(board)
    assert board.host.status.queued > 120_000
    worst = 0
    for run in range(1, 6):
        board.run(3 * MS + 7_919 * run)
        if board.host.state != "running":
            long_run(board)
        sent = board.last["cycle"]
        board.host.stop()
        board.run(15 * MS)
        assert (board.host.state, board.host.reason) == ("holding", "stop")
        cycles, masks, _ = board.edges()
        held = cycles[cycles > sent]
        worst = max(worst, int(held.max() - sent) if len(held) else 0)
        assert board.host.status.last_tick == 10_000 * board.host.status.played
        assert int(masks[-1]) == board.host.status.played & 0xFF
        board.run(60 * MS)
    print(f"last edge {worst / MS * 1000:.0f} us after STOP was sent")
    assert worst < 10 * MS


def test_stop_at_any_cycle_of_a_hold_counts_right(emulator: Callable[..., Emulator]) -> None:
    """The shortest holds there are, and STOP anywhere in them: it meets every instruction."""
    board = emulator()
    rng = random.Random(4)
    counts = []
    for run in range(1, 61):
        transitions = [(rng.randint(5, 9), n & 0xFF) for n in range(1, 8_000)]
        transitions[0] = (1_250, 1)
        encoder = RandomEncoder(run, DEPTH)
        player = Player(board, encoder.payloads(transitions), 0, None, run)
        player.arm(park_after_ms=1_000)
        player.fill()
        board.edges()
        board.host.start(run)
        board.run(SOON_AFTER_START)
        assert not len(board.peek())
        for _ in range(1_000):
            if len(board.peek()):
                break
            board.run(5_000)
        board.run(rng.randrange(1, 15_000))
        board.host.stop()
        board.run(5 * MS)
        status = board.host.status
        cycles, masks, _ = board.edges()
        ticks, planned = edges_of(transitions[: status.played])
        assert len(cycles) == status.played
        assert (masks == planned).all()
        if status.played:
            assert status.last_tick == ticks[-1]
            assert cycles[-1] - cycles[0] == ticks[-1] - ticks[0]
        counts.append((board.host.reason, status.played))
    stopped = [played for reason, played in counts if reason == "stop" and played]
    print(f"stopped {len(stopped)} times, after {min(stopped)} to {max(stopped)} edges")
    assert len(stopped) > 30


@pytest.mark.parametrize("how", ["killed", "cut", "closed"])
def test_a_lost_host_means_held_then_idle(emulator: Callable[..., Emulator], how: str) -> None:
    board = emulator()
    long_run(board, idle=0x81, host_timeout_ms=100)
    lost = board.last["cycle"]
    if how == "closed":
        board.ask(line={"dtr": False})
    if how == "cut":
        board.ask(cut=True)
    board.run(300 * MS)
    cycles, masks, driven = board.edges()
    assert (driven == 0xFF).all()
    parked = int(cycles[-1])
    held = int(cycles[-2])
    limit = 0 if how == "closed" else 100 * MS
    assert held - lost <= limit + 2 * MS
    assert 50 * MS <= parked - held <= 52 * MS
    assert int(masks[-1]) == 0x81
    board.ask(cut=False)
    board.ask(line={"dtr": True})
    board.host.poll(7)
    board.run(5 * MS)
    reason = "link_dropped" if how == "closed" else "host_silent"
    assert (board.host.state, board.host.reason) == ("faulted", reason)
    print(
        f"{how}: last edge {(held - lost) / MS:.1f} ms after,"
        f" parked {(parked - held) / MS:.1f} ms later"
    )


def test_a_hung_firmware_is_woken_by_its_watchdog(emulator: Callable[..., Emulator]) -> None:
    board = emulator()
    long_run(board)
    board.ask(halt=True)
    hung = board.last["cycle"]
    while board.last["resets"] == 1 and board.last["cycle"] < hung + HZ:
        board.run(MS)
    board.ask(connect=True)
    cycles, masks, driven = board.edges()
    released = int(cycles[driven != 0xFF][0])
    again = int(cycles[(driven == 0xFF) & (cycles > released)][0])
    assert released - hung <= 502 * MS
    assert again - released <= 10 * MS
    assert (masks[cycles >= released] == 0).all()
    board.ask(line={"dtr": True})
    board.host.hello(session=2)
    board.host.poll(1)
    board.run(5 * MS)
    assert board.host.status.state == STATES["idle"]
    assert board.host.status.reason == REASONS["none"]
    assert board.host.status.run == 0
    print(
        f"released {(released - hung) / MS:.0f} ms after,"
        f" driven idle {(again - released) / MS:.1f} ms later"
    )
