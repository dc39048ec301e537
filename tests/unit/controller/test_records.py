"""The reader of binary records: found in any stream, checked, scaled; garbage is counted."""

import struct
from itertools import pairwise

import pytest
from crcmod.predefined import mkPredefinedCrcFun
from hypothesis import given
from hypothesis import strategies as st

from edgewheel import yamlfile
from edgewheel.controller.asking import Request
from edgewheel.controller.listening_wording import read_layout
from edgewheel.controller.records import RecordReader
from edgewheel.errors import FileError

LAYOUT = """
size: 9
header: a5 5a
byte_order: big
fields:
  rpm: {at: 2, type: u16, scale: 1/4}
  temp: {at: 4, type: i8, scale: 0.5, offset: -40}
  sync: {at: 5, type: u8, words: {0: none, 1: full}}
  cut: {at: 6, type: u8, bit: 3}
checksum: {crc: crc-ccitt-false, at: 7, type: u16, first: 2}
"""
crc = mkPredefinedCrcFun("crc-ccitt-false")


def layout(text=LAYOUT):
    return read_layout(yamlfile.parse(text, "bench.yaml"))


def record(rpm=12000, temp=-8, sync=1, cut=8):
    body = struct.pack(">HbBB", rpm, temp, sync, cut)
    return b"\xa5\x5a" + body + struct.pack(">H", crc(body))


def test_a_record_is_scaled_and_named():
    (report,) = RecordReader(layout()).feed(record(), 77)
    assert report.arrived == 77
    assert report.fields == {"rpm": 3000.0, "temp": -44.0, "sync": "full", "cut": 1.0}
    assert report.text == "rpm=3000 temp=-44 sync=full cut=1"
    (other,) = RecordReader(layout()).feed(record(cut=0xF7), 0)
    assert other.fields["cut"] == 0.0


def test_a_value_without_a_word_stays_a_number():
    (report,) = RecordReader(layout()).feed(record(sync=7), 0)
    assert report.fields["sync"] == 7.0


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize(
    ("type_", "letter", "value"),
    [
        ("u8", "B", 200), ("i8", "b", -100), ("u16", "H", 40_000), ("i16", "h", -300),
        ("u32", "I", 3_000_000_000), ("i32", "i", -70_000), ("f32", "f", -0.375),
        ("f64", "d", 1e-9), ("f32", "f", float("nan")),
    ],
)  # fmt: skip
def test_every_type_in_either_byte_order(type_, letter, value, order):
    text = f"{{size: 9, header: a5, byte_order: {order}, fields: {{x: {{at: 1, type: {type_}}}}}}}"
    packed = struct.pack((">" if order == "big" else "<") + letter, value)
    (report,) = RecordReader(layout(text)).feed(b"\xa5" + packed.ljust(8, b"\0"), 0)
    assert report.fields == {"x": value if value == value else "nan"}


def test_garbage_before_between_and_inside_is_skipped_and_counted():
    reader = RecordReader(layout())
    broken = bytearray(record())
    broken[4] ^= 1
    stream = b"\x00\xa5" + record() + b"noise" + bytes(broken) + record(rpm=4) + b"\xa5"
    assert [report.fields["rpm"] for report in reader.feed(stream, 0)] == [3000.0, 1.0]
    tally = reader.tally()
    assert (tally["records"], tally["bad_checksum"]) == (2, 1)
    assert tally["skipped_bytes"] == 2 + 5 + len(broken)


def test_without_a_header_records_are_found_by_their_checksum():
    text = LAYOUT.replace("header: a5 5a", "").replace("first: 2", "first: 0")
    body = b"\0\0" + struct.pack(">HbBB", 400, 0, 1, 0)
    whole = body + struct.pack(">H", crc(body))
    reader = RecordReader(layout(text))
    assert [r.fields["rpm"] for r in reader.feed(b"\x17\x99" + whole + whole, 0)] == [100.0, 100.0]


def test_it_asks_at_its_pace_and_counts_silence_and_short_answers():
    reader = RecordReader(layout(), Request(b"R", every_ms=40))
    assert reader.due(0) == [b"R"]
    assert reader.due(39_000_000) == []
    reader.feed(record()[:4], 0)
    assert reader.due(40_000_000) == [b"R"]
    assert reader.tally()["short"] == reader.tally()["unanswered"] == 1
    assert len(reader.feed(record(), 0)) == 1
    assert reader.due(80_000_000) == [b"R"]
    assert reader.tally()["unanswered"] == 1


@given(st.lists(st.one_of(st.binary(max_size=30), st.just(record())), max_size=12))
def test_whatever_comes_every_whole_record_outside_of_another_is_read(parts):
    """Noise cannot make a record vanish unless its own bytes look like the head of one."""
    reader = RecordReader(layout())
    clean = [part for part in parts if part == record() or b"\xa5" not in part]
    reports = reader.feed(b"".join(clean), 0)
    assert len(reports) == clean.count(record())


@given(st.binary(max_size=400), st.lists(st.integers(0, 400), max_size=6))
def test_the_cuts_do_not_matter_and_nothing_crashes(data, cuts):
    data += record()
    whole, pieces = RecordReader(layout()), RecordReader(layout())
    places = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    reports = [r for a, b in pairwise(places) for r in pieces.feed(data[a:b], 0)]
    assert reports == whole.feed(data, 0)
    assert pieces.tally() == whole.tally()


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ("size: 9", "size: 8", "2 bytes at 7 reach beyond"),
        ("at: 4, type: i8", "at: 4, type: i9", "'i9' is not known"),
        ("crc-ccitt-false", "crc-17", "no CRC that crcmod knows"),
        ("a5 5a", "a5 5", "are no bytes"),
        ("{0: none", "{x: none", "no whole number"),
        ("type: u8, bit: 3", "type: f32, bit: 3", "has no|reach beyond|no bits"),
    ],
)
def test_a_layout_that_cannot_be_is_refused(old, new, problem):
    with pytest.raises(FileError, match=problem):
        layout(LAYOUT.replace(old, new))
