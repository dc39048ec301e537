"""The state table: row for row that of PROTOCOL.md, and every pair of state and event acts as
the page says."""

from __future__ import annotations

import ctypes

import pytest

from firmware.kit.native import MS, Native
from firmware.kit.stream import RandomEncoder
from firmware.kit.tables import REASONS, REFUSALS, STATES, TYPES, payload_sizes, table
from firmware.kit.wire import arm, end, splice

FRAMES = ["ARM", "EDGES", "END", "SPLICE", "START", "STOP", "PARK", "BOOTLOADER", "CONFIG"]
ALWAYS_IGNORED = {"STOP", "PARK"}
UNDER_WAY = {(state, event) for state in ("holding", "faulted") for event in ("EDGES", "END")}


def page_rows() -> list[tuple[str, str, str, str, str]]:
    """state, event, next, effect, reason; the page writes the reason behind the effect."""
    rows = []
    for row in table("transitions"):
        effect, _, reason = row["effect"].partition(" ")
        rows.append((row["state"], row["event"], row["next"], effect, reason or "none"))
    return rows


def test_table_is_that_of_the_page(board: Native) -> None:
    board.lib.table_rows.restype = ctypes.c_char_p
    rows = [line.split() for line in board.lib.table_rows().decode().splitlines()]
    core = [
        (a.lower(), event, b.lower(), effect, reason.lower())
        for a, event, b, effect, reason in rows
    ]
    assert sorted(core) == sorted(page_rows())


def reach(board: Native, state: str) -> RandomEncoder:
    """Brings the board into a state, with two transitions queued where there is a run."""
    encoder = RandomEncoder(1, 100)
    if state == "idle":
        return encoder
    board.host.send("ARM", arm(park_after_ms=60_000))
    for payload in encoder.payloads([(160, 1), (2000 * MS, 2)]):
        board.host.send("EDGES", payload)
    if state != "armed":
        board.host.start()
    board.run(MS)
    if state == "holding":
        board.host.stop()
    elif state == "faulted":
        board.drop()
    board.run(MS)
    assert board.host.state == state
    return encoder


def send(board: Native, event: str, encoder: RandomEncoder) -> None:
    """Sends a frame that is right in itself."""
    if event == "EDGES":
        board.host.send("EDGES", encoder.payloads([(MS, 3)])[0])
    elif event == "STOP":
        board.host.stop()
    elif event == "PARK":
        board.host.park()
    else:
        known = len(encoder.past)
        payload = {
            "ARM": arm(run=1, park_after_ms=60_000),
            "END": end(0, known, encoder.tick),
            "SPLICE": splice(0, 1, known),
            "START": (1).to_bytes(2, "little"),
            "BOOTLOADER": b"BOOT",
            "CONFIG": b"\0\xff",
        }[event]
        board.host.send(event, payload)


@pytest.mark.parametrize("event", FRAMES)
@pytest.mark.parametrize("state", list(STATES))
def test_every_frame_in_every_state(board: Native, state: str, event: str) -> None:
    encoder = reach(board, state)
    row = next((r for r in page_rows() if r[:2] == (state, event)), None)
    before = board.host.status.reason
    board.host.refused.clear()
    send(board, event, encoder)
    board.run(MS)
    if row is None:
        ignored = event in ALWAYS_IGNORED or (state, event) in UNDER_WAY
        codes = [] if ignored else [(TYPES[event], REFUSALS["state"])]
        assert [(type_, code) for type_, _, code in board.host.refused] == codes
        assert (board.host.state, board.host.status.reason) == (state, before)
        return
    _, _, next_state, effect, reason = row
    assert board.host.refused == []
    assert board.host.state == next_state
    assert board.lib.sim_in_bootloader() == (effect == "bootloader")
    if reason != "none":
        assert board.host.reason == reason
    elif effect == "initial":
        assert board.host.reason == "none"
    else:
        assert board.host.status.reason == before
    assert (board.host.status.park_tick > 0) == (effect == "park")


@pytest.mark.parametrize("state", ["armed", "running"])
@pytest.mark.parametrize("event", ["silence", "dropped", "misfit", "overrun"])
def test_faults_hold_the_pins_then_park_them(board: Native, state: str, event: str) -> None:
    encoder = reach(board, state)
    if event == "silence":
        board.run(1001 * MS)
    elif event == "dropped":
        board.drop()
    elif event == "misfit":
        board.host.send("END", end(0, len(encoder.past) + 1, encoder.tick))
    else:
        while board.host.status.reason == 0:
            for _ in range(32):
                board.host.send("EDGES", encoder.payloads([(200 * MS, 1)])[0].ljust(244, b"\0"))
            board.run(1)
    board.run(MS)
    reason = next(r[4] for r in page_rows() if r[:2] == (state, event))
    assert (board.host.state, board.host.reason) == ("faulted", reason)
    assert board.host.status.queued == 0
    assert board.host.status.park_tick == 0
    board.run(59_000 * MS)
    assert board.host.status.park_tick == 0
    board.run(1_001 * MS)
    assert board.host.status.park_tick > 0
    assert (board.host.state, board.host.reason) == ("faulted", reason)
    board.host.send("ARM", arm(run=2))
    board.run(MS)
    assert (board.host.state, board.host.reason) == ("armed", "none")


def test_dry_is_starved_at_the_last_transition(board: Native) -> None:
    reach(board, "running")
    for _ in range(21):
        board.host.poll(1)
        board.run(100 * MS)
    status = board.host.status
    assert (board.host.state, board.host.reason) == ("faulted", "starved")
    assert (status.played, status.last_tick) == (2, 160 + 2000 * MS)


def test_reasons_have_their_numbers(board: Native) -> None:
    assert list(REASONS.values()) == list(range(10))
    assert payload_sizes()["ARM"] == len(arm())
