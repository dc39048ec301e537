"""The edges of the link's rules: repeats and holes, the lag of a course, what is refused, what
nobody reads."""

from __future__ import annotations

import struct

import pytest

from firmware.kit.native import MS, Native
from firmware.kit.stream import block, edges
from firmware.kit.tables import REFUSALS, TYPES, payload_sizes
from firmware.kit.wire import arm, frame, frames, splice


def take(board: Native, count: int) -> None:
    """Has the board take so many ordered frames."""
    for _ in range(count):
        board.host.send("START", b"\1\0")
    board.run(MS)


@pytest.mark.parametrize(("behind", "hole"), [(1, 0), (64, 0), (65, 1), (-1, 1)])
def test_64_behind_is_a_repeat_and_65_a_hole(board: Native, behind: int, hole: int) -> None:
    take(board, 100)
    board.host.send("START", b"\1\0", seq=100 - behind)
    board.run(MS)
    assert board.host.status.next_seq == 100
    assert board.host.status.flags & 1 == hole
    assert board.host.status.missed_frames == hole
    take(board, 1)
    assert board.host.status.flags & 1 == 0
    assert board.host.status.next_seq == 101


@pytest.mark.parametrize("spliced", [False, True])
def test_a_new_course_does_not_know_the_lag_of_the_old(board: Native, spliced: bool) -> None:
    """A block that repeats without a lag of its own is good within a course and misfit at the
    head of the next."""
    items = [(MS, n & 3) for n in range(1, 9)]
    board.host.send("ARM", arm())
    first = block([], items, 0, 4, 0, send_masks=True)
    board.host.send("EDGES", edges(0, 0, 8 * MS, 8, first))
    epoch = 0
    if spliced:
        epoch = 1
        board.host.send("SPLICE", splice(0, 1, 8))
    repeat = block(items, items, 1, 4, 4, send_masks=False)
    board.host.send("EDGES", edges(epoch, 8, 16 * MS, 8, repeat))
    board.host.start()
    for _ in range(12):
        board.run(MS)
    assert board.host.reason == ("bad_stream" if spliced else "none")


def test_a_session_begins_at_its_own_number_and_is_not_begun_twice(board: Native) -> None:
    take(board, 3)
    board.host.seq = 77
    board.host.hello(session=1)
    board.host.poll(1)
    board.run(MS)
    assert board.host.status.next_seq == 3
    board.host.hello(session=2)
    board.host.poll(2)
    board.run(MS)
    assert board.host.status.next_seq == 77


@pytest.mark.parametrize("name", list(payload_sizes()))
def test_short_payloads_are_malformed(board: Native, name: str) -> None:
    size = payload_sizes()[name]
    board.write(frame(name, board.host.seq, bytes(size - 1)))
    board.run(MS)
    assert board.host.refused == [(TYPES[name], board.host.seq, REFUSALS["malformed"])]


def test_types_of_nobody_are_unknown_and_take_their_number_if_ordered(board: Native) -> None:
    for type_ in (0x05, 0x7F, 0x81):
        board.write(frame(type_, board.host.seq, b""))
    board.run(MS)
    assert [(t, code) for t, _, code in board.host.refused] == [(0x05, 1), (0x7F, 1), (0x81, 1)]
    assert board.host.status.next_seq == board.host.seq + 1 & 0xFF


@pytest.mark.parametrize("order", [{"host_timeout_ms": 0}], ids=["no time-out"])
def test_arm_refuses_what_it_cannot_do(board: Native, order: dict[str, int]) -> None:
    board.host.send("ARM", arm(**order))
    board.run(MS)
    assert board.host.refused[0][2] == REFUSALS["value"]
    assert board.host.state == "idle"


def test_a_full_sender_loses_no_pulse(board: Native) -> None:
    """While nobody reads, captured changes wait, and those without room are counted."""
    board.host.send("ARM", arm(inputs=1, host_timeout_ms=60_000))
    board.run(MS)
    board.lib.sim_deaf(True)
    for n in range(1_500):
        board.lib.sim_input(board.now + n, n + 1 & 1)
    board.run(20 * MS)
    board.lib.sim_deaf(False)
    board.run(20 * MS)
    assert len(board.host.pulses) == 1_024
    assert board.host.status.lost_pulses == 476


@pytest.mark.parametrize("deaf", [False, True])
def test_what_was_captured_is_told_before_the_parking(board: Native, deaf: bool) -> None:
    """Not only when the time has come that pulses share a frame, nor only if there is room at once:
    the host may let go when it hears of the parking."""
    board.host.send("ARM", arm(inputs=1))
    board.run(20 * MS)
    board.lib.sim_input(board.now, 1)
    board.run(1)
    board.lib.sim_input(board.now, 0)
    board.host.park()
    board.lib.sim_deaf(deaf)
    board.lib.board_poll()
    board.lib.sim_deaf(False)
    board.lib.board_poll()
    told = [frame.type for frame in frames(board.take())]
    assert told == [TYPES["PULSES"], TYPES["STATUS"]]


def test_stop_of_another_run_is_ignored(board: Native) -> None:
    board.host.send("ARM", arm(run=5))
    board.host.stop(run=4)
    board.host.poll(1)
    board.run(MS)
    assert board.host.state == "armed"
    board.host.wire.write(frame("STOP", 0, struct.pack("<H", 5)))
    board.run(MS)
    assert (board.host.state, board.host.reason) == ("holding", "stop")
