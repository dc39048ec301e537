"""Motion files: what they mean, and what wrong ones say."""

from fractions import Fraction
from pathlib import Path

import pytest

from edgewheel.errors import FileError
from edgewheel.motion.cam import Wander
from edgewheel.motion.gas import gas_ripple
from edgewheel.motion.loader import load_motion, read_motion
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.yamlfile import parse
from engines import four


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


ENGINE = (
    "cylinders: 4, firing_order: [1, 3, 4, 2], first_tdc: 84, bore_mm: 86, stroke_mm: 86, "
    "rod_mm: 143, compression_ratio: 10, inertia_kg_m2: 0.6"
)


def test_an_engine_gives_every_hold_the_ripple_of_its_speed():
    read = motion(
        f"""
        ripple: {{engine: {{{ENGINE}}}}}
        segments:
          - {{hold: 200, turns: 1}}
          - {{hold: 800, turns: 1}}
          - hold: 300
            turns: 1
            ripple: {{engine: {{{ENGINE}, weak: {{3: 0.4}}}}, rpm: 250}}
        """
    )
    ripples = [read[index].segment.ripple for index in range(3)]
    weak = four(losses=((3, Fraction("0.4")),))
    assert ripples[0] == gas_ripple(four(), Fraction(200))
    assert ripples[1] == gas_ripple(four(), Fraction(800))
    assert ripples[2] == gas_ripple(weak, Fraction(250))


def test_uneven_firing_two_strokes_and_thin_air():
    read = motion(
        """
        ripple:
          engine:
            cylinders: 2
            firing_order: [2, 1]
            firing_at: [0, 135]
            strokes: 2
            bore_mm: 50
            stroke_mm: 50
            rod_mm: 90
            compression_ratio: 8
            inertia_kg_m2: 0.05
            exponent: 1.32
            air_kpa: 80
        segments: [{hold: 900, turns: 1}]
        """
    )
    ripple = read[0].segment.ripple
    assert ripple.period_deg == 360
    angles = [Fraction(n) for n in range(360)]
    assert abs(min(angles, key=ripple.speed_ratio) - 135) <= 3


def test_start_run_gear_change_stop_and_rock_over_and_over():
    read = motion(
        """
        segments:
          - repeat: 3
            segments:
              - {ramp: 800, seconds: 1}
              - {shift: 0.75, rate: 2000}
              - run_down: {friction: 300}
              - {rock: 6, seconds: 0.1}
              - {hold: 0, seconds: 1/2}
        """
    )
    cycle_s = 1 + Fraction("0.1") + 2 + Fraction("0.1") + Fraction("0.5")
    assert read.end_s == 3 * cycle_s
    assert [read.at(n * cycle_s + Fraction("1.1")).rpm for n in range(3)] == [600] * 3
    cycle_deg = 6 * (400 + 70 + 600) - 6
    assert read.at(read.end_s).angle_deg == 3 * cycle_deg


def test_cam_timing_with_orders_and_wander():
    read = motion(
        """
        segments: [{hold: 900, seconds: 9}]
        cams:
          intake: {rate: 60, moves: [{at: 1, to: 20}, {at: 4, to: -5}]}
          exhaust:
            advance: -3
            rate: 50
            wander: {degrees: 2, every: 0.2, from: 1, until: 8, seed: 7}
        """
    )
    assert read.cams["intake"].advance_deg(Fraction(1) + Fraction(1, 6)) == 10
    assert read.cams["intake"].advance_deg(Fraction(9)) == -5
    wander = Wander(Fraction(2), Fraction(1, 5), Fraction(1), Fraction(8), 7)
    assert read.cams["exhaust"].wander == wander
    assert read.cams["exhaust"].advance_deg(Fraction(9)) == -3


def with_engine(find: str, write: str, segments: str = "[{hold: 200, turns: 1}]") -> str:
    changed = ENGINE.replace(find, write)
    assert changed != ENGINE
    lines = changed.replace("rod_mm", "\n    rod_mm")
    return f"ripple: {{engine: {{{lines}}}}}\nsegments: {segments}"


def timed(cam: str) -> str:
    return f"segments: [{{hold: 1, seconds: 1}}]\ncams:\n  cam: {cam}"


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
    ("segments:\n  - hold: 9\n    turns: 1\n  - rock: 5\n    seconds: 1", 4, "turns at 9 rpm"),
    ("segments:\n  - {rock: 0, seconds: 1}", 2, "more than 0"),
    ("segments:\n  - {rock: 200, seconds: 1}", 2, "at most 180"),
    ("segments:\n  - {rock: 5}", 2, "'seconds' is missing"),
    ("segments:\n  - {rock: 5, seconds: 1, swings: 0}", 2, "at least 1"),
    ("segments:\n  - {rock: 5, seconds: 1, keeps: 1.5}", 2, "at most 1"),
    ("segments:\n  - {rock: 5, seconds: 1, ripple: {depth: 0}}", 2, "Remove 'ripple'"),
    ("segments:\n  - run_down: {friction: 300}", 2, "at rest and cannot run down"),
    ("segments:\n  - run_down: {drag: 1}", 2, "'friction' is missing"),
    ("segments:\n  - run_down: {friction: 0}", 2, "more than 0"),
    ("segments:\n  - run_down: 300", 2, "Write keys and values"),
    ("segments:\n  - run_down: {friction: 300, dragg: 1}", 2, "'drag'"),
    ("segments:\n  - {shift: 0.7, rate: 3000}", 2, "Put a ramp before it"),
    ("segments:\n  - {shift: 0, rate: 3000}", 2, "more than 0"),
    ("segments:\n  - {hold: 9, turns: 1}\n  - {shift: 0.7, turns: 1}", 3, "seconds, rate"),
    ("segments:\n  - {repeat: 0, segments: [{hold: 1, seconds: 1}]}", 2, "at least 1"),
    ("segments:\n  - {repeat: 2}", 2, "'segments' is missing"),
    ("segments:\n  - {repeat: 2, segments: []}", 2, "no segments"),
    (
        "segments:\n  - repeat: 10000\n    segments: [" + "{hold: 1, seconds: 1}, " * 11 + "]",
        2,
        "over 100,000 pieces",
    ),
    ("ripple: {slowest_at: 3}\nsegments: []", 1, "neither 'depth' nor 'engine'"),
    (with_engine("cylinders: 4", "cylinders: 6"), 1, "does not fit 6 cylinders"),
    (with_engine("[1, 3, 4, 2]", "[1, 3, 3, 2]"), 1, "Name each cylinder from 1 to 4 once"),
    (with_engine("[1, 3, 4, 2]", "1342"), 1, "Write a list"),
    (with_engine("rod_mm: 143", "rod_mm: 43"), 2, "crank's throw of 43 mm"),
    (with_engine("compression_ratio: 10", "compression_ratio: 1"), 2, "more than 1"),
    (with_engine("inertia_kg_m2: 0.6", "inertia_kg_m2: 0.05"), 3, "stop within a cycle"),
    (with_engine("inertia_kg_m2: 0.6", "inertia_kg_m2: 0"), 2, "more than 0"),
    (with_engine("inertia_kg_m2: 0.6", "inertia: 1"), 1, "Is 'inertia' meant for it?"),
    (with_engine("0.6", "0.6, strokes: 3"), 2, "'3' is not known here"),
    (with_engine("0.6", "0.6, firing_at: [0, 180, 360]"), 2, "3 firing angles for 4 cylinders"),
    (with_engine("0.6", "0.6, firing_at: [0, 360, 180, 540]"), 2, "do not ascend"),
    (with_engine("0.6", "0.6, weak: {5: 0.1}"), 2, "there is no cylinder 5"),
    (with_engine("0.6", "0.6, weak: {3: 2}"), 2, "at most 1"),
    (with_engine("0.6", "0.6, weak: {1: 1, 2: 1, 3: 1, 4: 1}"), 1, "no cylinder compresses"),
    (with_engine("0.6", "0.6, exponent: 1"), 2, "more than 1"),
    (timed("{moves: [{at: 1, to: 5}]}"), 3, "'rate' is missing"),
    (timed("{rate: 0}"), 3, "more than 0"),
    (timed("{rate: 9, moves: [{at: 2, to: 5}, {at: 1, to: 0}]}"), 3, "Sort the moves"),
    (timed("{rate: 9, moves: [{at: 2, to: 500}]}"), 3, "at most 180"),
    (timed("{rate: 9, moves: [{at: 2}]}"), 3, "'to' is missing"),
    (timed("{rate: 9, wander: {degrees: 2, every: 0.1}}"), 3, "raise 'rate'"),
    (timed("{rate: 99, wander: {degrees: 2, every: 0.1, from: 3, until: 2}}"), 3, "after 'from'"),
    (timed("{advanced: 9}"), 3, "'advance'"),
    ("segments: [{hold: 1, seconds: 1}]\ncams: {}", 2, "no cam is named"),
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
