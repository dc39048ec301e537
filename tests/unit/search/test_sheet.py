"""The settings sheet: typed into the simulated controller it syncs, beyond each end it does not."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from edgewheel.bench.loader import load_plan, read_plan
from edgewheel.bench.rig import Rig
from edgewheel.cli.main import main
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.search.sheet.make import bench_subject, sheet_of, wheel_subject
from edgewheel.search.sheet.page import page
from edgewheel.search.sweep import Sweep
from edgewheel.search.trial import judge
from edgewheel.wheel.library import names
from library_wheels import library_wheel
from sheet_bench import BOUNCE, CRANKING, MOON, PIN, sheet_for, sheet_of_whole, write

DEMO = Path(__file__).parents[3] / "host/edgewheel/examples/frost-fan.yaml"


def passes(folder: Path, bench: dict, settings: dict) -> bool:
    judged = judge(Rig(), write(folder, bench, settings))
    assert judged is not None
    return judged[0]


TOLD_OF_MOON = (
    "BENCH is bench.yaml.",
    "spark latency not known To know it from a run",
    "On the other edge every angle is 3° off. The pin is high while metal is at the sensor.",
    "gap ratio, from 1.7 1.032 .. 2.95 -0.668 +1.25 Below, an ordinary tooth is taken for the gap; "
    "above, the gap is not seen.",
    "controller.settings.wheel.gap_ratio_low --from 0.929 --to 3.24.",
    "crank blanking 19 % 14.57 .. 25.41 % -4.43 +6.41",
    "cam edge rising Both are evenly pitched. The pin is low while metal is at the sensor.",
    "cam level high, first turn -39.78 .. 320 deg The ends are degrees by which the cam may come",
    "reference angle 84 deg 81 .. 87 deg -3 +3 From the first tooth after the gap on crank to TDC "
    "of cylinder 1.",
    "Outside, sparks count as misplaced.",
    "threshold BENCH speed --from 2500 --to 10000.",
)
TOLD_OF_PIN = (
    "crank blanking 18 % ? .. 35.76 % +17.8 No bounce is known of: half of what is allowed.",
    "cam window, from 82 deg 0 .. 164 deg -82 +82 The edge comes at 164.0 to 164.1 deg",
    "Below, the window reaches the reference; above, the edge falls outside the window.",
    "Below, the edge falls outside the window; above, the cam's other edge is let in too.",
    "reference angle 440 deg 435 .. 445 deg -5 +5",
    "Counted from the reference of the turn in which the cam's edge comes.",
)


@pytest.mark.parametrize(
    ("bench", "told"), [(MOON, TOLD_OF_MOON), (PIN, TOLD_OF_PIN)], ids=["half-moon", "one tooth"]
)
def test_what_the_sheet_says_syncs(tmp_path, bench, told):
    sheet = sheet_of_whole(tmp_path, bench)
    text = " ".join(page(sheet).split())
    assert [words for words in told if words not in text] == []
    assert passes(tmp_path, bench, sheet.typed())
    as_a_time = {"crank.blanking_percent": 0.0, **sheet.line("blanking_us").typed}
    assert passes(tmp_path, bench, sheet.typed() | as_a_time)


ENDS = [
    (MOON, "gap_ratio_low", "low"),
    (MOON, "gap_ratio_low", "high"),
    (MOON, "gap_ratio_high", "low"),
    (MOON, "blanking_percent", "low"),
    (MOON, "blanking_percent", "high"),
    (MOON, "blanking_us", "low"),
    (MOON, "blanking_us", "high"),
    (MOON, "reference", "low"),
    (MOON, "reference", "high"),
    (PIN, "cam_window_from", "high"),
    (PIN, "cam_window_to", "low"),
    (PIN, "gap_ratio_low", "low"),
    (PIN, "gap_ratio_low", "high"),
]


@pytest.mark.parametrize(
    ("bench", "key", "end"),
    [pytest.param(*case, id=f"{case[0]['wheel'][:2]}-{case[1]}-{case[2]}") for case in ENDS],
)
def test_just_within_an_end_it_syncs_and_just_beyond_it_does_not(tmp_path, bench, key, end):
    sheet = sheet_of_whole(tmp_path, bench)
    line = sheet.line(key)
    bound, other = line.low.value, line.high.value
    if end == "high":
        bound, other = other, bound
    (address,) = [one for one, value in line.typed.items() if value == line.value]
    settings = sheet.typed()
    if line.other_way:
        settings["crank.blanking_percent"] = 0.0
    step = 0.02 * (other - bound)
    assert passes(tmp_path, bench, settings | {address: bound + step})
    assert not passes(tmp_path, bench, settings | {address: bound - step})


def test_above_the_gap_ratio_a_gap_with_a_tooth_lost_beside_it_is_taken(tmp_path):
    """The first tooth after the gap is missing: the position found would be a tooth out."""
    steady = {"segments": [{"hold": 1000, "turns": 20}]}
    lost = {"lost": {"kind": "missing_tooth", "track": "crank", "teeth": [1]}}
    bound = sheet_for(tmp_path, MOON | {"motion": steady}).line("gap_ratio_high").high.value
    settings = sheet_of_whole(tmp_path, MOON).typed()
    bench = MOON | {"motion": steady, "faults": lost}
    told = []
    for value in (0.97 * bound, 1.03 * bound):
        plan = write(tmp_path, bench, settings | {"wheel.gap_ratio_high": value})
        told.append(judge(Rig(), plan)[1])
    assert "never found sync" in told[0] and "claims" not in told[0]
    assert "degrees too" in told[1]


@pytest.mark.parametrize("end", ["low", "high"])
def test_the_cam_may_be_off_by_as_much_as_the_sheet_says(tmp_path, end):
    sheet = sheet_of_whole(tmp_path, MOON)
    bound = getattr(sheet.line("cam_phase"), end).value
    for share, synced in ((0.98, True), (1.02, False)):
        shifted = {"kind": "shifted", "track": "cam", "by_deg": round(share * bound, 3)}
        bench = MOON | {"faults": {"worn": BOUNCE, "cam": shifted}}
        assert passes(tmp_path, bench, sheet.typed()) is synced


def test_beyond_the_cam_window_its_wrong_edge_is_let_in(tmp_path):
    """Within the window a cam that counts the wrong edge is noticed: no sync."""
    sheet = sheet_of_whole(tmp_path, PIN)
    wrong = sheet.typed() | {"cam.edge": "falling"}
    end = sheet.line("cam_window_to").high.value
    assert not passes(tmp_path, PIN, wrong | {"phase.window_to_deg": end - 0.3})
    assert passes(tmp_path, PIN, wrong | {"phase.window_to_deg": end + 0.3})


def test_before_the_cam_window_its_other_edge_is_let_in_where_that_comes_first(tmp_path):
    """A pin that goes low under metal rises where the tooth ends, 16 degrees behind its fall."""
    sensors = {**PIN["sensors"], "cam": {"kind": "hall", "metal": "low"}}
    sheet = sheet_for(tmp_path, PIN | {"sensors": sensors})
    begin, end = sheet.line("cam_window_from"), sheet.line("cam_window_to")
    assert (begin.low.value, begin.high.value) == pytest.approx((164, 180), abs=0.2)
    assert begin.low.beyond == "the cam's other edge is let in too"
    assert "a turn later at the same place" not in " ".join(begin.notes)
    assert (end.high.value, end.high.beyond) == (360, "the window reaches the reference")


def test_a_reluctor_is_seen_up_to_the_threshold_of_the_sheet(tmp_path):
    amplitude = {"mv_per_rpm": 4, "threshold_mv": 100, "run_out": 0.1}
    bench = PIN | {"sensors": {"crank": {"amplitude": amplitude}}}
    bench["motion"] = {"segments": [CRANKING]}
    sheet = sheet_for(tmp_path, bench)
    line = sheet.line("crank_threshold_250")
    assert line.high.value == pytest.approx(4 * 250 * 0.9 * 0.86, rel=0.02)
    assert line.value == pytest.approx(line.high.value / 2, rel=0.01)
    for share, synced in ((0.99, True), (1.01, False)):
        weak = amplitude | {"threshold_mv": round(share * line.high.value, 3)}
        played = bench | {"sensors": {"crank": {"amplitude": weak}}}
        assert passes(tmp_path, played, sheet.typed()) is synced


def test_how_late_an_inputs_low_pass_is_stands_beside_the_reference_angle(tmp_path):
    """A half-wave of 3 degrees lasts 100 us at 5,000 rpm: atan(pi / 5) x 100 us / pi of 20 us."""
    vr = {"arming_mv": [[0, 100]], "teeth_a_turn": 60, "time_constant_us": 20}
    plan = write(tmp_path, MOON, {"crank.vr": vr})
    notes = " ".join(sheet_of(bench_subject(plan, "bench.yaml")).line("reference").notes)
    assert "late by 0.03 degrees at 250 rpm and 0.54 degrees at 5000 rpm" in notes
    assert "low-pass" not in " ".join(sheet_of_whole(tmp_path, MOON).line("reference").notes)


def test_a_bounce_longer_than_a_tooth_has_no_blanking(tmp_path):
    bench = MOON | {"faults": {"worn": BOUNCE | {"delay_us": 190}}}
    sheet = sheet_for(tmp_path, bench)
    line = sheet.line("blanking_us")
    assert line.value is None and not line.typed
    assert "or, as a time none works 194 .. " in " ".join(page(sheet).split())
    assert "Cure the bounce" in line.notes[0]


def test_a_bounce_in_percent_of_a_tooth_grows_with_the_period(tmp_path):
    """A delay of 10 % and 4 us, which are most of the shortest tooth period."""
    bounce = {key: value for key, value in BOUNCE.items() if key != "delay_us"}
    sheet = sheet_for(tmp_path, MOON | {"faults": {"worn": bounce | {"delay_percent": 10}}})
    shortest_us = sheet.line("blanking_us").high.value
    low = sheet.line("blanking_percent").low.value
    assert low == pytest.approx(10 + 100 * 4 / shortest_us)
    assert "it grows with the period" in sheet.line("blanking_us").notes[0]


def test_motions_together_leave_what_the_narrowest_of_them_leaves():
    ripple = CompressionRipple(Fraction(1, 5), Fraction(2))
    slow = ("slow", Motion([hold(300, turns=6, ripple=ripple)]))
    fast = ("fast", Motion([ramp(3000, 6000, seconds=Fraction(1, 5))]))
    subject = wheel_subject(library_wheel("60-minus-2-half-moon-cam"))
    one, other, both = (
        sheet_of(replace(subject, motions=motions)) for motions in ((slow,), (fast,), (fast, slow))
    )
    for key in ("gap_ratio_low", "gap_ratio_high"):
        lows = [sheet.line(key).low.value for sheet in (one, other)]
        assert both.line(key).low.value == max(lows)
    for key in ("gap_ratio_low", "gap_ratio_high", "blanking_percent", "blanking_us"):
        highs = [sheet.line(key).high.value for sheet in (one, other)]
        assert both.line(key).high.value == pytest.approx(min(highs))


def test_a_wheel_without_a_gap_says_that_there_is_no_limit_to_type():
    sheet = sheet_of(wheel_subject(library_wheel("24-width-coded")))
    assert (sheet.line("gap_ratio").value, dict(sheet.line("gap_ratio").typed)) == ("none", {})
    assert "On the other edge every angle is 5° to 10° off." in sheet.line("crank_edge").notes


@pytest.mark.parametrize("name", names())
def test_every_wheel_of_the_library_has_its_page(name):
    few_turns = ("a few turns", Motion([hold(600, turns=4)]))
    text = page(sheet_of(wheel_subject(library_wheel(name), few_turns)))
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) < 66
    assert "nan" not in text and "inf " not in text


def test_a_wheel_alone_is_taken_through_the_usual_speeds(capsys):
    assert main(["sheet", "60-minus-2"]) == 0
    said = capsys.readouterr().out
    assert "Under an assumed run from 200 to 6000 rpm" in said
    assert "crank blanking" in said and "controller.settings" not in said
    assert "Leads so that the pin goes low as a tooth's centre passes." in " ".join(said.split())


@pytest.mark.parametrize(
    "cam", [{"advance": -170, "moves": [{"at": 0.5, "to": 170}], "rate": 1000}, {"advance": 100}]
)
def test_a_cam_that_the_motion_brings_past_the_reference_tells_no_turn(tmp_path, cam):
    motion = {"cams": {"cam": cam}, "segments": [{"hold": 1000, "seconds": 1.5}]}
    line = sheet_for(tmp_path, MOON | {"motion": motion, "faults": {}}).line("cam_phase")
    assert line.value is None and line.typed == {}
    assert "passes the reference under these motions" in line.notes[0]


def test_the_demos_controller_is_cured_by_what_its_sheet_says(tmp_path):
    """Its blanking of 20 % is flagged, and with the sheet's settings it keeps sync to the top."""
    plan = load_plan(DEMO)
    sheet = sheet_of(bench_subject(plan, DEMO.name))
    assert any("blanking_percent 20.0" in note for note in sheet.line("blanking_percent").notes)
    document = plan.document
    for line in ("blanking_percent", "gap_ratio_low", "gap_ratio_high"):
        ((address, value),) = sheet.line(line).typed.items()
        document = document.with_value(f"controller.settings.{address}", str(value))
    sweep = Sweep(read_plan(document, DEMO), tmp_path)
    for _ in sweep.items():
        pass
    assert sweep.result.passed
    assert sweep.result.highest_rpm == 6500
