"""The reader of serial text lines: whatever arrives, in whatever pieces."""

import tracemalloc
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel import yamlfile
from edgewheel.controller.lines import LONGEST_LINE_BYTES, LineReader, columns, read_format
from edgewheel.errors import FileError


def test_reads_pairs_as_they_arrive():
    reader = LineReader()
    assert reader.feed(b't=1.5 rpm=3000.1 sync=full reason="tooth count', 10) == []
    (report,) = reader.feed(b' 57 of 58"\r\nt=1.5', 20)
    assert report.arrived == 20
    assert report.fields == {
        "t": 1.5,
        "rpm": 3000.1,
        "sync": "full",
        "reason": "tooth count 57 of 58",
    }


def test_reads_columns_and_refuses_other_counts():
    reader = LineReader(columns(("rpm", "sync"), ";"))
    reports = reader.feed(b"3000; full\n3000\n", 0)
    assert [report.fields for report in reports] == [{"rpm": 3000.0, "sync": "full"}]
    assert reader.counts.unmatched == 1


def test_reads_a_declared_pattern_and_leaves_absent_groups_out():
    node = yamlfile.parse("{pattern: 'n=(?P<rpm>[0-9.]+)(?: err=(?P<reason>.+))?'}", "f")
    reader = LineReader(read_format(node))
    first, second = reader.feed(b">> n=812.5\n>> n=0 err=no teeth\n", 0)
    assert first.fields == {"rpm": 812.5}
    assert second.fields == {"rpm": 0.0, "reason": "no teeth"}


def test_a_character_split_between_two_reads_is_one_character():
    reader = LineReader()
    data = "name=Größe\n".encode()
    reports = [r for k, byte in enumerate(data) for r in reader.feed(bytes([byte]), k)]
    assert reports[0].fields == {"name": "Größe"}
    assert reports[0].arrived == len(data) - 1


def test_not_a_number_stays_text():
    (report,) = LineReader().feed(b"rpm=nan load=inf boost=1e400\n", 0)
    assert report.fields == {"rpm": "nan", "load": "inf", "boost": "1e400"}


def test_garbage_is_counted_and_the_next_line_is_read():
    reader = LineReader()
    assert len(reader.feed(b"\xff\xfe rpm=1\nhello\n\n\r\nrpm=2\n", 0)) == 1
    assert (reader.counts.not_text, reader.counts.unmatched, reader.counts.lines) == (1, 1, 3)


def test_a_line_of_megabytes_takes_no_memory():
    reader = LineReader()
    tracemalloc.start()
    for _ in range(4000):
        reader.feed(b"x" * 1000, 0)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 20 * LONGEST_LINE_BYTES
    assert reader.feed(b"rpm=9\nrpm=5\n", 7)[0].fields == {"rpm": 5.0}
    assert reader.counts.too_long == 1


@given(st.binary(max_size=300), st.lists(st.integers(0, 300), max_size=8))
def test_the_cuts_do_not_matter_and_nothing_crashes(data, cuts):
    whole, pieces = LineReader(), LineReader()
    places = [0, *sorted(cuts), len(data)]
    reports = [
        report for begin, end in pairwise(places) for report in pieces.feed(data[begin:end], 0)
    ]
    assert reports == whole.feed(data, 0)
    assert pieces.counts == whole.counts


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("{pattern: '(?P<rpm>['}", "this is no pattern"),
        ("{pattern: '[0-9]+'}", "names nothing"),
        ("{columns: [a, a]}", "stands twice"),
        ("{columns: [a], pattern: '(?P<b>x)'}", "no one format"),
        ("{}", "no one format"),
        ("{colums: [a]}", "'colums' is not known here"),
        ("words", "'words' is not known here"),
    ],
)
def test_a_format_that_means_nothing_is_refused(text, problem):
    with pytest.raises(FileError, match=problem.replace("(", r"\(")):
        read_format(yamlfile.parse(f"lines: {text}", "f").section().required("lines"))
