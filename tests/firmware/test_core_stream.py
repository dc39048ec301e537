"""What the core plays is what was sent: random streams in random blocks, edge by edge at their
ticks."""

from __future__ import annotations

import random

import pytest

from firmware.kit.native import MS, Native
from firmware.kit.stream import RandomEncoder, Transition, edges
from firmware.kit.wire import arm, end, splice


def random_transitions(seed: int, count: int, longest: int) -> list[Transition]:
    """Transitions whose distances and masks half repeat after 240, so that prediction has
    something to predict."""
    rng = random.Random(seed)
    cycle = [(rng.randint(160, longest), rng.randrange(256)) for _ in range(240)]
    out = []
    for n in range(count):
        delta, mask = cycle[n % 240]
        if rng.random() < 0.3:
            delta = max(5, delta + rng.randint(-40, 40))
        if rng.random() < 0.05:
            mask = rng.randrange(256)
        out.append((delta if n else max(delta, 160), mask))
    return out


def times(transitions: list[Transition]) -> list[tuple[int, int]]:
    """Run ticks and masks."""
    tick, out = 0, []
    for delta, mask in transitions:
        tick += delta
        out.append((tick, mask))
    return out


def start(board: Native, payloads: list[bytes], inputs: int = 0) -> None:
    board.host.send("ARM", arm(inputs=inputs))
    for payload in payloads:
        board.host.send("EDGES", payload)
    board.host.start()


def keep_alive(board: Native, ticks: int) -> None:
    """Lets time pass while the host shows every 200 ms that it lives."""
    while ticks > 0:
        board.host.poll(1)
        board.run(min(ticks, 200 * MS))
        ticks -= 200 * MS


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("longest", [400, 30_000, 3_000_000])
def test_random_stream_is_played_tick_for_tick(board: Native, seed: int, longest: int) -> None:
    transitions = random_transitions(seed, 3000 if longest < 1_000_000 else 60, longest)
    encoder = RandomEncoder(seed, depth=board.host.welcome["history_depth"])
    start(board, encoder.payloads(transitions))
    board.host.send("END", end(0, len(transitions), encoder.tick))
    board.edges()
    keep_alive(board, encoder.tick + 10 * MS)
    begin = board.host.status.start_tick
    assert [(tick - begin, mask) for tick, mask in board.edges()] == times(transitions)
    assert (board.host.state, board.host.reason) == ("holding", "end")
    assert board.host.status.played == len(transitions) == board.host.status.handed
    assert board.host.status.last_tick == encoder.tick
    assert board.host.status.credit == board.host.welcome["buffer_bytes"] + sum(
        len(p) + 2 for p in RandomEncoder(seed, 7168).payloads(transitions)
    )


def test_largest_numbers_pass(board: Native) -> None:
    transitions = [(160, 1), (2**32 - 1, 2), (5, 3), (2**32 - 1, 4), (5, 5), (2**32 - 1, 6)]
    encoder = RandomEncoder(3, 7168, lags=(1, 2))
    start(board, encoder.payloads(transitions))
    board.host.send("END", end(0, len(transitions), encoder.tick))
    board.edges()
    keep_alive(board, encoder.tick + 10 * MS)
    begin = board.host.status.start_tick
    assert [(tick - begin, mask) for tick, mask in board.edges()] == times(transitions)


def test_new_course_replaces_the_old_from_its_transition_on(board: Native) -> None:
    first = [(160, 1)] + [(MS, n & 255) for n in range(400)]
    encoder = RandomEncoder(1, 7168)
    payloads = encoder.payloads(first)
    start(board, payloads)
    board.run(30 * MS)
    edges_before = board.edges()
    boundaries = [int.from_bytes(p[3:7], "little") for p in payloads]
    cut = next(b for b in boundaries if b > board.host.status.handed + 10)
    board.host.send("SPLICE", splice(0, 9, cut))
    encoder.splice(cut)
    second = [(2 * MS, 255 - n & 255) for n in range(50)]
    for payload in encoder.payloads(second, epoch=9):
        board.host.send("EDGES", payload)
    board.host.send("END", end(9, cut + 50, encoder.tick))
    keep_alive(board, encoder.tick)
    begin = board.host.status.start_tick
    played = [(t - begin, m) for t, m in edges_before + board.edges() if t > begin]
    assert played == times(first[:cut] + second)
    assert (board.host.state, board.host.reason) == ("holding", "end")
    assert (board.host.status.epoch, board.host.status.epoch_first) == (9, cut)


def test_splice_of_what_is_handed_over_is_refused_and_the_old_course_goes_on(board: Native) -> None:
    transitions = [(160, 1)] + [(MS, n & 255) for n in range(100)]
    encoder = RandomEncoder(1, 7168)
    start(board, encoder.payloads(transitions))
    board.host.send("END", end(0, 101, encoder.tick))
    board.run(30 * MS)
    board.host.send("SPLICE", splice(0, 7, 1))
    board.host.send("EDGES", edges(7, 1, 99, 1, bytes(3)))
    board.run(MS)
    assert board.host.status.flags & 2
    assert board.host.status.refused_epoch == 7
    keep_alive(board, encoder.tick)
    assert board.host.reason == "end"
    assert board.host.status.played == 101


def test_a_run_that_stands_still_takes_a_new_course(board: Native) -> None:
    stall = [(160, 1), (MS, 0), (2**32 - 1, 1)]
    encoder = RandomEncoder(1, 7168)
    start(board, [payload for one in stall for payload in encoder.payloads([one])])
    keep_alive(board, 1500 * MS)
    assert board.host.state == "running"
    board.host.send("SPLICE", splice(0, 1, 2))
    board.run(5 * MS)
    encoder.splice(2)
    now = board.now - board.host.status.start_tick
    resume = [(now + 50 * MS - encoder.tick, 1), (MS, 0), (MS, 1)]
    for payload in encoder.payloads(resume, epoch=1):
        board.host.send("EDGES", payload)
    board.host.send("END", end(1, 5, encoder.tick))
    board.edges()
    keep_alive(board, 100 * MS)
    begin = board.host.status.start_tick
    assert [(t - begin, m) for t, m in board.edges()] == times(stall[:2] + resume)[2:]
    assert board.host.reason == "end"


def test_a_course_that_begins_in_the_past_is_late(board: Native) -> None:
    encoder = RandomEncoder(1, 7168)
    start(board, [p for t in ((160, 1), (MS, 0), (2**32 - 1, 1)) for p in encoder.payloads([t])])
    keep_alive(board, 500 * MS)
    board.host.send("SPLICE", splice(0, 1, 2))
    encoder.splice(2)
    for payload in encoder.payloads([(100 * MS, 1)], epoch=1):
        board.host.send("EDGES", payload)
    board.run(5 * MS)
    assert (board.host.state, board.host.reason) == ("faulted", "late")
    assert board.host.status.played == 2
