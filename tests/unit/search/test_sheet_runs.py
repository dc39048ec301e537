"""What runs said of the controller, in place of what the sheet computed."""

import json
import math
from pathlib import Path

import pytest

from edgewheel.bench.search_record import SearchRecord
from edgewheel.cli.main import main
from edgewheel.search.sheet.make import bench_subject, sheet_of
from edgewheel.search.sheet.page import page
from edgewheel.search.sheet.proof import SHIFT, FoundLimit, Shown, read_runs, with_runs
from planted_timing import two_widths
from sheet_bench import (
    FAST,
    MOON,
    PIN,
    sheet_for,
    sheet_of_whole,
    write,
)


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
