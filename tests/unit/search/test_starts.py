"""Time to sync from many angles, against what can be reckoned by hand."""

import json

import pytest

from edgewheel.bench.events import Finished
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.cli.main import main
from edgewheel.errors import BenchError
from edgewheel.report.read import read_report
from edgewheel.search.starts import Starts

BENCH = """\
format: 1
name: Starts
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {{line: crank}}
    cam: {{line: cam}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: high}}
    engine: {{tdc_after_reference_deg: 84}}
    sync: {{ignored_teeth: {ignored}, teeth_wanted: 2, gaps_wanted: {gaps}}}
    report: {{rate_hz: 1000, baud: 10000000, buffer_bytes: 4096}}
    power: {{boot_ms: {boot_ms}}}
{motion}
"""


def starts(tmp_path, capsys, motion="", ignored=1, gaps=1, count=4, boot_ms=0):
    bench = tmp_path / "bench.yaml"
    text = BENCH.format(motion=motion, ignored=ignored, gaps=gaps, boot_ms=boot_ms)
    bench.write_text(text)
    runs = str(tmp_path / "runs")
    assert main(["starts", str(bench), "--starts", str(count), "--json", "--runs", runs]) == 0
    return json.loads(capsys.readouterr().out)


def test_steady_starts_take_as_far_as_to_the_second_gap_at_most(tmp_path, capsys):
    """The gap, seen whole, ends at 0 and 360 degrees: the rise of tooth 1.

    A start just before it has too few teeth behind it for that gap and waits for the next.
    """
    data = starts(tmp_path, capsys, "motion: {segments: [{hold: 200, seconds: 3}]}")
    by_start = {start["start_deg"]: start for start in data["starts"]}
    assert by_start[180.0]["degrees"] == pytest.approx(180, abs=4)
    # Tooth 31 at 180 degrees to tooth 58 at 342, and the tooth after the gap.
    assert by_start[180.0]["teeth"] == 29
    assert by_start[0.0]["degrees"] == pytest.approx(360, abs=4)
    for start in data["starts"]:
        assert start["after_deg"] <= start["degrees"]
    assert data["without_sync"] == 0
    assert data["worst"]["degrees"] >= data["p90_deg"] >= data["median_deg"]
    assert data["worst"]["degrees"] < 400
    assert data["least_of_the_wheel_deg"] <= data["worst"]["degrees"] + 6


def test_one_more_gap_wanted_is_one_more_turn(tmp_path, capsys):
    motion = "motion: {segments: [{hold: 200, seconds: 3}]}"
    one = starts(tmp_path, capsys, motion, count=2)
    two = starts(tmp_path, capsys, motion, gaps=2, count=2)
    for first, second in zip(one["starts"], two["starts"], strict=True):
        assert second["degrees"] - first["degrees"] == pytest.approx(360, abs=6)


def test_a_supply_that_comes_while_the_crank_turns_counts_from_there(tmp_path, capsys):
    """2 s at 200 rpm are 2,400 degrees, 240 beyond whole cycles: as a start from there."""
    motion = "motion: {segments: [{hold: 200, seconds: 5}]}"
    feed = "feed: {output: 3, turning: 1.8, boot: 0.2}"
    turning = starts(tmp_path, capsys, f"{motion}\n{feed}", boot_ms=200)
    plain = starts(tmp_path, capsys, motion, count=12)
    by_start = {start["start_deg"]: start for start in plain["starts"]}
    assert len(turning["starts"]) == 4
    for start in turning["starts"]:
        alike = by_start[round(start["start_deg"], 6)]
        assert start["degrees"] == pytest.approx(alike["degrees"], abs=7)
        assert start["seconds"] < 1


def test_without_a_motion_it_is_cranked_against_compressions(tmp_path, capsys):
    data = starts(tmp_path, capsys, count=2)
    assert data["without_sync"] == 0
    assert all(start["seconds"] < 1 for start in data["starts"])


def test_a_controller_that_never_syncs_fails(tmp_path, capsys):
    bench = tmp_path / "bench.yaml"
    motion = "motion: {segments: [{hold: 200, seconds: 0.3}]}"
    bench.write_text(BENCH.format(motion=motion, ignored=900, gaps=1, boot_ms=0))
    runs = str(tmp_path / "runs")
    assert main(["starts", str(bench), "--starts", "2", "--runs", runs]) == 1
    out = capsys.readouterr().out
    assert "0 of 2 starts found sync" in out
    assert max(map(len, out.splitlines()[:-1])) <= 80


def two_starts(tmp_path) -> Starts:
    bench = tmp_path / "bench.yaml"
    bench.write_text(BENCH.format(motion="", ignored=1, gaps=1, boot_ms=0))
    return Starts(load_plan(bench), 2, tmp_path / "runs")


def test_a_bench_that_fails_is_no_controller_that_finds_no_sync(tmp_path, monkeypatch):
    starved = Finished(0.1, False, False, "the board ran dry")
    monkeypatch.setattr(Rig, "run", lambda *_: iter([starved]))
    with pytest.raises(BenchError, match="ran dry"):
        next(two_starts(tmp_path).items())


def test_starts_that_were_stopped_have_not_passed(tmp_path):
    asked = two_starts(tmp_path)
    for _ in asked.items():
        asked.stop()
    report = read_report(asked.folder)
    assert report.grade == "stopped"
    assert report.answer == "It was stopped after 1 start, of which 0 found no sync."
