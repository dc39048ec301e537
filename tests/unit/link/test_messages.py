"""Messages: numbers, fields and sizes are those of PROTOCOL.md."""

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

import protocol_page
from edgewheel.link import messages, welcome
from edgewheel.link.messages import MalformedError, Message, Pulses, Reason, Refusal, State, Status
from edgewheel.link.welcome import Welcome

SIZES = {"u8": 1, "u16": 2, "u32": 4, "u64": 8, "4s": 4}


def kinds():
    """Name and class of each message."""
    found = {kind.__name__.upper(): kind for kind in Message.__subclasses__()}
    return {**found, "WELCOME": Welcome}


def test_each_type_of_the_page_has_its_message_and_number():
    page = {row["name"]: int(row["type"], 16) for row in protocol_page.table("types")}
    assert page == {name: kind.TYPE for name, kind in kinds().items()}


@pytest.mark.parametrize("row", protocol_page.table("types"), ids=lambda row: row["name"])
def test_the_fields_of_each_message(row):
    if row["name"] in ("WELCOME", "STATUS"):
        return
    kind = kinds()[row["name"]]
    columns = [field.split() for field in row["payload"].split(", ")]
    if row["name"] == "PULSES":
        columns = columns[:3]
    fixed = [(name, size) for name, *size in columns if size]
    assert kind.LAYOUT.size == sum(SIZES[size[0]] for _, size in fixed)
    names = [field.name for field in fields(kind)]
    if row["name"] != "PULSES":
        assert names == [name for name, *_ in columns]


def test_the_fields_of_status():
    rows = protocol_page.table("status")
    assert list(Status._fields) == [row["field"] for row in rows]
    assert Status.LAYOUT.size == sum(SIZES[row["type"]] for row in rows)
    numbered = Status(*range(len(rows)))
    at = 0
    for number, row in enumerate(rows):
        size = SIZES[row["type"]]
        assert int.from_bytes(numbered.pack()[at : at + size], "little") == number
        at += size


def test_the_tagged_fields_of_welcome():
    for row in protocol_page.table("fields"):
        name, size = welcome._FIELDS[int(row["tag"])]
        assert name == row["name"]
        assert size == (0 if row["value"] == "text" else SIZES[row["value"]])
    assert len(welcome._FIELDS) == len(protocol_page.table("fields"))


@pytest.mark.parametrize(
    ("name", "column", "numbers"),
    [("states", "state", State), ("reasons", "reason", Reason), ("refusals", "code", Refusal)],
)
def test_numbers_and_names(name, column, numbers):
    page = {row[column].upper(): int(row["value"]) for row in protocol_page.table(name)}
    assert page == {member.name: member.value for member in numbers}


def test_every_message_comes_back_and_a_longer_tail_is_ignored():
    odd = {Pulses, messages.Edges, messages.Config, Welcome, Status}
    for kind in set(kinds().values()) - odd:
        sample = kind(*kind.LAYOUT.unpack(bytes(range(1, kind.LAYOUT.size + 1))))
        assert kind.unpack(sample.pack()) == sample
        assert kind.unpack(sample.pack() + b"tail") == sample
        with pytest.raises(MalformedError):
            kind.unpack(sample.pack()[:-1])


def test_a_status_of_protocol_1_0_has_no_levels_of_the_inputs():
    status = Status(*range(1, 22))
    assert Status.unpack(status.pack() + b"tail") == status
    assert Status.unpack(status.pack()[:-1]) == status._replace(armed_levels=0)
    with pytest.raises(MalformedError):
        Status.unpack(status.pack()[:-2])


def test_numbers_of_a_later_minor_version_can_be_read():
    assert Reason(77) is Reason.INTERNAL
    assert Refusal(77) is Refusal.VALUE


ticks = st.lists(st.integers(0, 2**40), min_size=1, max_size=20).map(sorted).map(tuple)


@given(st.integers(0, 2**32 - 1), ticks, st.data())
def test_pulses_come_back(first, at, data):
    levels = tuple(data.draw(st.lists(st.integers(0, 255), min_size=len(at), max_size=len(at))))
    pulses = Pulses(first, at, levels)
    assert Pulses.unpack(pulses.pack()) == pulses
    with pytest.raises(MalformedError):
        Pulses.unpack(pulses.pack()[:-1])


BOARD = Welcome(1, 0, 2, b"frostfan", 125_000_000, 8, 4, 5, 7168, 131072, 250, 1, "1.0", 2500000)


def test_welcome_comes_back_and_unknown_tags_are_skipped():
    assert Welcome.unpack(BOARD.pack()) == BOARD
    assert Welcome.unpack(BOARD.pack() + b"\xc8\x03abc") == BOARD
    assert Welcome.unpack(BOARD.pack() + b"\xc8\x03a") == BOARD


def test_a_welcome_of_another_age_still_says_who_it_is():
    head = Welcome.unpack(BOARD.pack()[: Welcome.HEAD.size])
    assert (head.major, head.board, head.unique_id, head.tick_hz) == (
        1,
        2,
        b"frostfan",
        125_000_000,
    )
    assert not head.complete
    with pytest.raises(MalformedError):
        Welcome.unpack(b"NMEA" + BOARD.pack()[4:])
