"""Motion files: what they mean, and what wrong ones say."""

from fractions import Fraction
from pathlib import Path

import pytest

from edgewheel.errors import FileError
from edgewheel.motion.loader import load_motion, read_motion
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.yamlfile import parse


def motion(text: str, folder: Path = Path()) -> Motion:
    return read_motion(parse(text, "motion.yaml"), folder)


def test_holds_and_ramps_follow_each_other():
    read = motion(
        """
        format: 1
        name: Crank, start, run up
        start: 90
        segments:
          - ramp: 250
            seconds: 0.5
          - hold: 250
            turns: 10
          - ramp: 900
            rate: 1300
          - hold: 900
            seconds: 1/2
        """
    )
    assert [placed.segment.seconds for placed in (read[i] for i in range(4))] == [
        Fraction(1, 2),
        Fraction(12, 5),
        Fraction(1, 2),
        Fraction(1, 2),
    ]
    assert read.end_s == Fraction("3.9")
    assert read.at(Fraction(0)).angle_deg == 90
    assert read.at(Fraction("2.9")).angle_deg == 90 + 375 + 3600
    assert read.at(Fraction("3.15")).rpm == pytest.approx(575)
    assert read.at(Fraction(99)).rpm == 0


def test_a_ripple_for_all_and_none_for_one():
    read = motion(
        """
        ripple: {depth: 0.2, per_turn: 2, slowest_at: 84}
        segments:
          - hold: 200
            seconds: 1
          - hold: 200
            seconds: 1
            ripple: {depth: 0}
        """
    )
    assert read[0].segment.ripple == CompressionRipple(Fraction(1, 5), Fraction(2), Fraction(84))
    assert read[1].segment.ripple is None
    slow, fast = Fraction(84, 1200), Fraction(174, 1200)
    assert read.at(slow).rpm < 200 < read.at(fast).rpm


def test_reverse_turns_the_engine_back():
    read = motion("segments: [{hold: 60, seconds: 1}, {hold: 60, seconds: 1, reverse: true}]")
    assert read.at(Fraction(2)).angle_deg == 0


def test_a_speed_table_is_linear_between_its_points(tmp_path):
    (tmp_path / "log.csv").write_text("time,rpm\n10,600\n10.5,1200\n12,0\n")
    (tmp_path / "motion.yaml").write_text("segments:\n  - table: log.csv\n")
    read = load_motion(tmp_path / "motion.yaml")
    assert read.end_s == 2
    assert read.at(Fraction("0.25")).rpm == pytest.approx(900)


WRONG = [
    ("segments: []", 1, "no segments"),
    ("segments: 5", 1, "Write a list"),
    ("format: 2\nsegments: []", 1, "format: 1"),
    ("segment: []", 1, "'segments' is missing"),
    ("start: 720\nsegments: [{hold: 1, seconds: 1}]", 1, "less than 720"),
    ("segments:\n  - hold: 100", 2, "exactly one of seconds, turns"),
    ("segments:\n  - hold: 100\n    seconds: 1\n    turns: 1", 2, "2 lengths"),
    ("segments:\n  - hold: -100\n    seconds: 1", 2, "reverse: true"),
    ("segments:\n  - hold: .nan\n    seconds: 1", 2, "'.nan' is not a number"),
    ("segments:\n  - hold: inf\n    seconds: 1", 2, "not a number"),
    ("segments:\n  - hold: 1e6\n    seconds: 1", 2, "at most 100000"),
    ("segments:\n  - hold: 100\n    seconds: 0", 3, "more than 0"),
    ("segments:\n  - hold: 0\n    turns: 3", 2, "makes no turns"),
    ("segments:\n  - hold: 100\n    seconds: 1\n    turn: 1", 4, "'turns'"),
    ("segments:\n  - ramp: 100\n    rate: 0", 3, "more than 0"),
    ("segments:\n  - ramp: 0\n    rate: 10", 2, "goes nowhere"),
    ("segments:\n  - {hold: 9, ramp: 9, seconds: 1}", 2, "2 kinds of motion"),
    ("segments:\n  - seconds: 1", 2, "0 kinds of motion"),
    (
        "segments:\n  - {hold: 9, seconds: 1}\n  - {ramp: 9, reverse: yes, seconds: 1}",
        3,
        "standstill",
    ),
    ("ripple: {depth: 1, per_turn: 2}\nsegments: [{hold: 1, seconds: 1}]", 1, "less than 1"),
    ("ripple: {depth: 0.1}\nsegments: [{hold: 1, seconds: 1}]", 1, "'per_turn' is missing"),
    ("ripple: {depth: 0.1, per_turn: 1.2}\nsegments: [{hold: 1, seconds: 1}]", 1, "1/2, 1, 3/2"),
    ("ripple: {depth: 0.1, per_turn: 2, at: 3}\nsegments: []", 1, "'at' is not known"),
    ("segments:\n  - table: nowhere.csv", 2, "no such file"),
]


@pytest.mark.parametrize(("text", "line", "words"), WRONG)
def test_a_wrong_motion_says_where_and_what_would_be_right(text, line, words):
    with pytest.raises(FileError) as caught:
        motion(text)
    assert words in str(caught.value)
    assert caught.value.place.line in (line, 0)
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("rows", "line", "words"),
    [
        ("rpm,time\n0,0\n1,1\n", 1, "time,rpm"),
        ("time,rpm\n0,0\n", 0, "fewer than two"),
        ("time,rpm\n0,100\n0,200\n", 3, "does not ascend"),
        ("time,rpm\n0,100\n1,fast\n", 3, "is not a point"),
        ("time,rpm\n0,100\n1\n", 3, "is not a point"),
        ("time,rpm\n0,100\n1,-100\n", 3, "out of range"),
        ("time,rpm\n0,100\n1,nan\n", 3, "is not a point"),
    ],
)
def test_a_wrong_speed_table_says_in_which_line(tmp_path, rows, line, words):
    (tmp_path / "log.csv").write_text(rows)
    with pytest.raises(FileError) as caught:
        motion("segments: [{table: log.csv}]", tmp_path)
    assert words in str(caught.value)
    assert caught.value.place.line == line
