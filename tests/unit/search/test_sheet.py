"""The settings sheet: typed into the simulated controller it syncs, beyond each end it does not."""

import json
import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
import yaml

from edgewheel.bench.loader import load_plan, read_plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.search_record import SearchRecord
from edgewheel.cli.main import main
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.search.sheet.make import bench_subject, sheet_of, wheel_subject
from edgewheel.search.sheet.page import page
from edgewheel.search.sheet.proof import SHIFT, FoundLimit, Shown, read_runs, with_runs
from edgewheel.search.sweep import Sweep
from edgewheel.search.trial import judge
from edgewheel.wheel.library import names
from library_wheels import library_wheel
from planted_timing import two_widths

DEMO = Path(__file__).parents[3] / "host/edgewheel/examples/frost-fan.yaml"
CRANKING = {"hold": 250, "turns": 8, "ripple": {"depth": 0.15, "per_turn": 2}}
FAST = {"hold": 5000, "turns": 9, "ripple": {"depth": 0.04, "per_turn": 2}}
BOUNCE = {"kind": "bounce", "track": "crank", "after": "rise", "delay_us": 24, "width_us": 4}
MOON = {
    "wheel": "60-minus-2-half-moon-cam",
    "motion": {"segments": [CRANKING, {"ramp": 5000, "rate": 20000}, FAST]},
    "faults": {"worn": BOUNCE},
}
PIN = {
    "wheel": "36-minus-1-1-tooth-cam",
    "sensors": {"crank": {"kind": "hall"}, "cam": {"kind": "hall"}},
    "motion": {"segments": [CRANKING, {"ramp": 3000, "rate": 20000}]},
}
BEFORE = {"crank": {"line": "crank"}, "cam": {"line": "cam"}, "wheel": {"kind": "missing_teeth"}}


def nested(addresses: dict, base: dict) -> dict:
    tree = {key: dict(value) for key, value in base.items()}
    for address, value in addresses.items():
        group, key = address.split(".")
        tree.setdefault(group, {})[key] = value
    return tree


def write(folder: Path, bench: dict, settings: dict):
    """A bench file's plan."""
    some = {"wheel.pitches": 60, "wheel.missing": 2, "wheel.gap_ratio_low": 2}
    tree = nested({**some, "wheel.gap_ratio_high": 4, **settings}, BEFORE)
    document = {
        "format": 1,
        "name": "Sheet",
        "board": {"kind": "sim", "tick_hz": 16_000_000},
        "controller": {"kind": "sim", "settings": tree},
        "limits": {"sync_within_s": 1.5, "speed_error_percent": 30},
        **bench,
    }
    file = folder / "bench.yaml"
    file.write_text(yaml.safe_dump(document))
    return load_plan(file)


def sheet_for(folder: Path, bench: dict):
    return sheet_of(bench_subject(write(folder, bench, {}), "bench.yaml"))


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

SHEETS = {}


def sheet_of_whole(folder: Path, bench: dict):
    """The sheet of MOON or PIN as they stand, made once."""
    if bench["wheel"] not in SHEETS:
        SHEETS[bench["wheel"]] = sheet_for(folder, bench)
    return SHEETS[bench["wheel"]]


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


def test_runs_take_the_place_of_computations(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    bench = MOON | {"motion": {"segments": [FAST]}, "faults": {}}
    computed = sheet_for(tmp_path, bench)
    write(tmp_path, bench, computed.typed())
    address = "controller.settings.crank.blanking_percent"
    asked = ["--from", "19", "--to", "40", "--within", "8"]
    assert main(["threshold", "bench.yaml", address, *asked, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert main(["run", "bench.yaml", "--json"]) == 0
    run = json.loads(capsys.readouterr().out)["folder"]
    assert main(["sheet", "bench.yaml", found["folder"], run, "--json"]) == 0
    lines = {line["key"]: line for line in json.loads(capsys.readouterr().out)["lines"]}
    blanking = lines["blanking_percent"]
    assert blanking["high"]["value"] == found["low"]
    assert blanking["high"]["source"].startswith("run 1, ")
    assert blanking["low"] is None and lines["blanking_us"]["high"]["source"] == "computed"
    assert found["low"] <= computed.line("blanking_percent").high.value <= found["high"]
    assert lines["gap_ratio_low"]["shown"][0].startswith("run 2 held sync with wheel.gap_ratio_low")
    assert lines["reference"]["shown"][-1].startswith("run 2 held sync")


def seen(key: str, address: str, above: bool, held: float, bench: dict, folder: Path, cause=""):
    """A line as a threshold on record leaves it."""
    line = sheet_of_whole(folder, bench).line(key)
    return with_runs(line, Shown((FoundLimit("1", address, above, held, 20, cause),)))


def test_a_measured_end_moves_a_value_and_no_word_beside_it(tmp_path):
    address = "controller.settings.phase.window_from_deg"
    before = sheet_of_whole(tmp_path, PIN).line("cam_window_from")
    held = before.low.value + 0.2 * (before.value - before.low.value)
    line = seen("cam_window_from", address, True, held, PIN, tmp_path)
    assert line.value == pytest.approx((before.low.value + held) / 2, rel=1e-3)
    assert line.typed == {"phase.by": "edge", "phase.window_from_deg": line.value}


def test_a_measured_end_below_half_of_what_was_computed_is_halved_itself(tmp_path):
    bench = MOON | {"faults": {}}
    line = sheet_for(tmp_path, bench).line("blanking_percent")
    limit = FoundLimit("1", "controller.settings.crank.blanking_percent", True, 10.0, 20)
    assert line.low is None and line.value > 10
    assert with_runs(line, Shown((limit,))).value == 5


def test_how_far_the_cam_was_shifted_is_told_beside_its_window(tmp_path):
    for key, above in (("cam_window_to", True), ("cam_window_from", False)):
        line = seen(key, "faults.x.by_deg", above, 12.5, PIN, tmp_path, SHIFT)
        way = "up" if above else "down"
        assert line.shown == (
            f"run 1, 20 trials: as it was set, held faults.x.by_deg {way} to 12.5",
        )


def threshold_on_record(folder: Path, bench: dict, address: str, found: dict) -> Path:
    write(folder, bench, {})
    known = {"from": 0, "to": 90, "passed_trials": 40, "failed_trials": 40, "address": address}
    summary = {"bench": "bench.yaml", "probability": 0.5, "threshold": known | found}
    (folder / "summary.json").write_text(json.dumps(summary))
    return folder


def test_what_a_gradual_limit_held_is_where_one_trial_in_a_hundred_fails(tmp_path):
    """Half of them fail at the threshold: a logistic is at 1 % ln 99 of its scale before that."""
    found = {"threshold": 50, "low": 45, "high": 55, "fails": "above", "spread": 4}
    above = threshold_on_record(tmp_path, MOON, "speed", found)
    (limit,) = read_runs([above]).limits
    assert limit.held == pytest.approx(45 - 4 * math.log(99))
    assert limit.source == "run 1, 80 trials, 1 % fail there"
    below = threshold_on_record(tmp_path, MOON, "speed", found | {"fails": "below"})
    assert read_runs([below]).limits[0].held == pytest.approx(55 + 4 * math.log(99))
    never = threshold_on_record(tmp_path, MOON, "speed", found | {"spread": 20})
    assert read_runs([never]).limits == ()


def test_a_bent_tooth_says_nothing_of_the_cams_shift(tmp_path):
    found = {"threshold": 5, "low": 4, "high": 6, "fails": "above", "spread": 0}
    shift = {"kind": "shifted", "track": "cam", "by_deg": 3}
    bent = {"kind": "bent_tooth", "track": "crank", "teeth": [5], "by_deg": 0.5}
    causes = []
    for fault in (shift, bent):
        bench = MOON | {"faults": {"x": fault}}
        folder = threshold_on_record(tmp_path, bench, "faults.x.by_deg", found)
        causes.append(read_runs([folder]).limits[0].cause)
    assert causes == [SHIFT, ""]


def test_a_measured_highest_speed_below_that_of_the_motions_is_said_to_lose_sync(tmp_path):
    lost, held = (seen("speed", "speed", True, rpm, MOON, tmp_path) for rpm in (4000.0, 6000.0))
    assert (lost.value, lost.high.value) == (5000, 4000)
    assert lost.notes[-1] == "SYNC IS LOST below the highest speed of the motions."
    assert (held.value, held.high.value, len(held.notes)) == (5000, 6000, 1)


def test_a_measured_end_beyond_the_computed_other_one_is_a_contradiction(tmp_path):
    address = "controller.settings.wheel.gap_ratio_low"
    line = seen("gap_ratio_low", address, False, 3.2, MOON, tmp_path)
    assert (line.value, line.low.value) == (1.7, 3.2)
    assert line.notes[-1] == "The run and the computation contradict."
    moved = seen("gap_ratio_low", address, False, 2.0, MOON, tmp_path)
    assert moved.value == pytest.approx((2.0 * moved.high.value) ** 0.5, rel=1e-3)
    assert moved.typed == {address.removeprefix("controller.settings."): moved.value}


@pytest.mark.parametrize(
    "cam", [{"advance": -170, "moves": [{"at": 0.5, "to": 170}], "rate": 1000}, {"advance": 100}]
)
def test_a_cam_that_the_motion_brings_past_the_reference_tells_no_turn(tmp_path, cam):
    motion = {"cams": {"cam": cam}, "segments": [{"hold": 1000, "seconds": 1.5}]}
    line = sheet_for(tmp_path, MOON | {"motion": motion, "faults": {}}).line("cam_phase")
    assert line.value is None and line.typed == {}
    assert "passes the reference under these motions" in line.notes[0]


def test_timing_runs_show_edge_reference_and_latency(tmp_path):
    runs = two_widths(tmp_path, tdc=91, delay_us=150)
    shown = read_runs([run.folder for run in runs])
    sheet = sheet_of(bench_subject(runs[0].plan, "bench.yaml"), shown)
    assert "of the tooth width" in sheet.line("crank_edge").shown[0]
    assert "add -7.00" in sheet.line("reference").notes[-2]
    assert "NOT SO" in sheet.line("reference").notes[-1]
    assert sheet.line("latency").value == pytest.approx(150, abs=2)
    text = " ".join(page(sheet).split())
    assert f"Run 1 is {runs[0].folder.name}." in text
    assert "Run 1 failed: " in text and "Run 2 failed: " in text
    latency = sheet.line("latency")
    assert latency.low.value < 150 < latency.high.value and latency.shown == ("run 1 and 2",)


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


def test_what_is_no_run_is_refused(tmp_path, capsys):
    write(tmp_path, MOON, {})
    assert main(["sheet", str(tmp_path / "bench.yaml"), str(tmp_path)]) == 2
    assert "holds no finished run" in capsys.readouterr().err
    assert main(["sheet", str(tmp_path / "bench.yaml"), "missing"]) == 2
    assert "There is no folder missing" in capsys.readouterr().err
    with SearchRecord(tmp_path / "starts") as record:
        record.finish({"kind": "starts"})
    assert main(["sheet", str(tmp_path / "bench.yaml"), str(tmp_path / "starts")]) == 2
    assert "the record of many trials, not of one run" in capsys.readouterr().err
    (tmp_path / "plan.yaml").write_text("format: 1\ntests: {}\n")
    assert main(["sheet", str(tmp_path / "plan.yaml")]) == 2
    assert "neither a bench file" in capsys.readouterr().err
