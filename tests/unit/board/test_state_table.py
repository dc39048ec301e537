"""Every state and every event of PROTOCOL.md's table, on the simulated board."""

from dataclasses import replace

import pytest

import protocol_page
from edgewheel.board.states import TABLE
from edgewheel.link.messages import (
    End,
    Park,
    Reason,
    Refusal,
    Splice,
    Start,
    State,
    Stop,
)
from edgewheel.link.waves import switched_off
from raw_host import ARM, MS, SETTINGS, RawHost

STATES = [row["state"] for row in protocol_page.table("states")]
ROWS = {(row["state"], row["event"]): row for row in protocol_page.table("transitions")}
FRAMES = ["ARM", "EDGES", "START", "SPLICE", "END", "STOP", "PARK", "CONFIG"]
BOARD_EVENTS = ["finished", "dry", "silence", "dropped", "misfit", "overrun", "late", "time"]
SMALL = replace(SETTINGS, buffer_bytes=400)


def enter(state):
    """A board in a state; its stream, if it has one, is two transitions at 5 and 2,000 ms."""
    host = RawHost(SMALL)
    if state == "idle":
        return host
    host.say(ARM)
    host.edges(0, 0, [5 * MS], [1])
    host.edges(1, 5 * MS, [1995 * MS], [2])
    if state != "armed":
        host.say(Start(1))
        host.wait(MS)
    if state == "holding":
        host.say(Stop(1))
    if state == "faulted":
        host.board.disconnect(host.tick)
        host.wait(1)
    assert State(host.status.state).name.lower() == state
    return host


def say(host, event):
    """A frame that is right in every way but, perhaps, the state."""
    known = host.status.state in (State.ARMED, State.RUNNING)
    if event == "ARM":
        host.say(replace(ARM, run=2))
    elif event == "EDGES":
        host.edges(2 if known else 0, 2000 * MS, [MS], [3])
    elif event == "START":
        host.say(Start(1))
    elif event == "SPLICE":
        host.say(Splice(0, 1, 2))
    elif event == "CONFIG":
        host.say(switched_off(1))
    elif event == "END":
        host.say(End(0, 2, 2000 * MS))
    elif event == "STOP":
        host.say(Stop(1))
    elif event == "PARK":
        host.say(Park(0xFFFF))


def happen(host, event):
    """Make an event of the board's own come about."""
    if event == "silence":
        host.wait(1001 * MS)
    elif event == "dropped":
        host.board.disconnect(host.tick)
        host.wait(1)
    elif event == "misfit":
        host.edges(7, 2000 * MS, [MS], [3])
    elif event == "overrun":
        overrun(host)
    elif event == "late":
        host.wait(100 * MS)
        host.say(Splice(0, 1, 1))
        host.edges(1, 5 * MS, [MS], [3], epoch=1)
    elif event == "finished":
        host.say(Splice(0, 1, 1))
        host.say(End(1, 1, 5 * MS))
        host.wait(10 * MS)
    elif event == "dry":
        host.say(Splice(0, 1, 1))
        host.wait(30 * MS)
    elif event == "time":
        host.wait(51 * MS)


def overrun(host):
    """More stream than there is room for."""
    for first in range(2, 100, 16):
        host.edges(first, (2000 + first - 2) * MS, [MS] * 16, [3] * 16)


def test_the_table_is_that_of_the_page():
    page = {
        (State[row["state"].upper()], row["event"]): (
            State[row["next"].upper()],
            row["effect"].split()[0],
            Reason[[*row["effect"].split(), "none"][1].upper()],
        )
        for row in ROWS.values()
        if row["event"] != "BOOTLOADER"
    }
    assert {key: (row.next, row.effect.value, row.reason) for key, row in TABLE.items()} == page


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("event", FRAMES)
def test_frames(state, event):
    host = enter(state)
    before = host.status.reason
    say(host, event)
    row = ROWS.get((state, event))
    if row is None:
        ignored = event in ("STOP", "PARK") or (
            event in ("EDGES", "END") and state in ("holding", "faulted")
        )
        number = {row["name"]: int(row["type"], 16) for row in protocol_page.table("types")}[event]
        assert host.refused == ([] if ignored else [(number, Refusal.STATE)])
        assert (host.status.state, host.status.reason) == (State[state.upper()], before)
        return
    assert host.refused == []
    assert host.status.state == State[row["next"].upper()]
    assert_reason(host, row, before)


@pytest.mark.parametrize("event", BOARD_EVENTS)
@pytest.mark.parametrize("state", STATES)
def test_events_of_the_board(state, event):
    row = ROWS.get((state, event))
    if row is None:
        return
    host = enter(state)
    before = host.status.reason
    happen(host, event)
    assert host.status.state == State[row["next"].upper()]
    assert_reason(host, row, before)


def assert_reason(host, row, before):
    """The reason that the row names, else the one before, else none after ARM."""
    words = row["effect"].split()
    if len(words) == 2:
        assert host.status.reason == Reason[words[1].upper()]
    elif row["effect"] == "initial":
        assert host.status.reason == Reason.NONE
    else:
        assert host.status.reason == before


def test_a_fault_stays_readable_until_the_next_arm():
    host = enter("faulted")
    host.wait(200 * MS)
    assert host.status.park_tick > 0
    assert (host.status.state, host.status.reason) == (State.FAULTED, Reason.LINK_DROPPED)
    host.say(replace(ARM, run=2))
    assert (host.status.state, host.status.run, host.status.park_tick) == (State.ARMED, 2, 0)
