"""Shrinking: from thousands of changes to the one that is the cause, stopped and gone on with."""

import json
import random
import sqlite3
from fractions import Fraction
from pathlib import Path

import pytest

from edgewheel.bench.failure import Failure
from edgewheel.bench.loader import load_plan
from edgewheel.bench.runner import Runner
from edgewheel.bench.search_record import SearchRecord
from edgewheel.bench.verdict import Outcome
from edgewheel.cli.main import main
from edgewheel.search.causefile import cause_text, number_text
from edgewheel.search.shrink import Shrink
from edgewheel.search.sweep import Sweep

BENCH = """
format: 1
name: Fan, planted
wheel: 60-minus-2-half-moon-cam
board: {{kind: sim, tick_hz: 16000000}}
controller:
  kind: sim
  settings:
    crank: {{line: crank}}
    cam: {{line: cam}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: high}}
    engine: {{firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}}
limits: {{sync_within_s: 1, silence_ms: 300}}
motion: {motion}
faults: {faults}
"""
INNOCENT = "innocent: {kind: jitter, track: crank, us: 1.5}"
PLANTED = "cause: {kind: dropped_tooth, track: crank, teeth: [30], from_turn: 34, to_turn: 35}"
HOLD = "{segments: [{hold: 3000, seconds: 1}]}"


def bench(folder: Path, *faults: str, motion: str = HOLD) -> Path:
    path = folder / "fan.yaml"
    path.write_text(BENCH.format(motion=motion, faults="{" + ", ".join(faults) + "}"))
    return path


def run(path: Path, outcome: Outcome = Outcome.FAILED) -> Path:
    runner = Runner(load_plan(path), path.parent / "runs")
    for _ in runner.events():
        pass
    assert runner.verdict.outcome == outcome
    return runner.folder


def shrunk(folder: Path, votes: int | None = None) -> Shrink:
    shrink = Shrink(folder, votes)
    for _ in shrink.items():
        pass
    return shrink


@pytest.fixture(scope="module")
def planted(tmp_path_factory) -> Path:
    return run(bench(tmp_path_factory.mktemp("planted"), INNOCENT, PLANTED))


def trials(folder: Path) -> int:
    with sqlite3.connect(folder / "run.sqlite") as database:
        return int(database.execute("SELECT count(*) FROM trial").fetchone()[0])


def test_one_cause_among_five_thousand_innocent_changes(planted):
    """Tooth 30 of turn 35 is the flip that spans a whole tooth: 166.7 us, 0.69 s from the start."""
    shrink = shrunk(planted)
    result = shrink.result
    assert len(shrink.flips) > 5000
    assert result.failure is Failure.LOST
    (flip,) = result.flips
    begin_us = 34 * 20_000 + 29 * Fraction(20_000, 60)
    assert abs(flip.from_us - begin_us) < 2 and abs(flip.to_us - begin_us - 166.7) < 2
    assert result.stretch.seconds < Fraction(1, 4)
    assert result.trials == trials(planted) < 60


def test_the_file_is_short_and_fails_alike(planted):
    shrink = shrunk(planted)
    text = cause_text(shrink.plan, shrink.result, planted)
    file = planted / "again.yaml"
    file.write_text(text)
    assert len(text.splitlines()) <= 16
    assert "# tooth 30, turn " in text and "does not come" in text
    assert run(file) != planted


def test_a_search_that_was_stopped_goes_on_where_it_was(tmp_path):
    folder = run(
        bench(tmp_path, INNOCENT, PLANTED, motion="{segments: [{hold: 3000, seconds: 0.9}]}")
    )
    first = Shrink(folder)
    for progress in first.items():
        if progress.done == 7:
            first.stop()
    assert first.result is None and trials(folder) == 7
    second = shrunk(folder)
    assert second.known_trials == 7
    whole = second.known_trials + second.new_trials
    assert len(second.result.flips) == 1
    third = shrunk(folder)
    assert (third.new_trials, third.known_trials) == (0, whole)
    assert third.result == second.result


def test_two_changes_that_fail_only_together_are_both_kept(tmp_path):
    """The controller forgives an error of the gap once, so one lost tooth alone is no loss."""
    text = bench(
        tmp_path,
        "one: {kind: dropped_tooth, track: crank, teeth: [30], from_turn: 20, to_turn: 21}",
        "two: {kind: dropped_tooth, track: crank, teeth: [40], from_turn: 21, to_turn: 22}",
        "three: {kind: jitter, track: crank, us: 1, chance: 0.1}",
        motion="{segments: [{hold: 3000, seconds: 0.6}]}",
    )
    text.write_text(text.read_text().replace("engine:", "sync: {errors_allowed: 1}\n    engine:"))
    shrink = shrunk(run(text))
    assert len(shrink.flips) > 100
    words = cause_text(shrink.plan, shrink.result, shrink_folder(tmp_path))
    assert len(shrink.result.flips) == 2
    assert "tooth 30, turn" in words and "tooth 40, turn" in words


def shrink_folder(folder: Path) -> Path:
    return next((folder / "runs").iterdir())


def test_a_controller_that_never_syncs_is_given_the_time_to(tmp_path):
    """A pulse behind tooth 5 on every turn: without, it syncs; the stretch stays long enough."""
    extra = "more: {kind: extra_pulse, track: crank, teeth: [5], width_us: 40}"
    shrink = shrunk(run(bench(tmp_path, extra, motion="{segments: [{hold: 3000, seconds: 0.4}]}")))
    result = shrink.result
    assert result.failure is Failure.NEVER
    assert 0 < len(result.flips) < 10
    assert result.stretch.seconds >= Fraction(5, 100)


def test_a_failure_that_needs_no_change_is_said_to_need_none(tmp_path):
    text = bench(tmp_path, INNOCENT, motion="{segments: [{hold: 3000, seconds: 0.4}]}")
    text.write_text(text.read_text().replace("pitches: 60", "pitches: 58"))
    result = shrunk(run(text)).result
    assert result.flips == ()
    assert result.changes > 2000


def test_a_sweep_is_shrunk_as_well(tmp_path):
    text = bench(
        tmp_path,
        "cause: {kind: bounce, track: crank, after: rise, delay_us: 60, width_us: 5, every: 7}",
    )
    settings = text.read_text().replace("line: crank", "line: crank, blanking_percent: 20")
    sweep = "sweep: {from: 2800, to: 3600, step: 200, rate: 8000, settle: 0.05, hold: 0.05}\n"
    text.write_text(settings.replace("sync_within_s: 1,", "sync_within_s: 0.3,") + sweep)
    search = Sweep(load_plan(text), tmp_path / "runs")
    for _ in search.items():
        pass
    shrink = shrunk(search.runner.folder)
    assert len(shrink.result.flips) == 1
    assert len(shrink.flips) > 500


class Flaky(Shrink):
    """A controller that fails alike only four times in five, and now and then for nothing.

    Dice alone tell the runs of one plan apart, so it is played once for all of them.
    """

    def __init__(self, folder: Path, votes: int):
        super().__init__(folder, votes)
        self.random = random.Random(5)
        self.runs = 0
        self.played = None, ("", None)

    def _run(self, plan):
        if plan is not self.played[0]:
            self.played = plan, super()._run(plan)
        found, at = self.played[1]
        self.runs += 1
        if self.random.random() < (0.2 if found else 0.03):
            return ("", None) if found else (Failure.LOST.value, 0.7)
        return found, at


def test_a_vote_finds_the_cause_of_a_controller_that_does_not_always_fail(tmp_path):
    some = INNOCENT.replace("us: 1.5", "us: 1.5, chance: 0.02")
    folder = run(bench(tmp_path, some, PLANTED))
    shrink = Flaky(folder, 9)
    for _ in shrink.items():
        pass
    assert len(shrink.result.flips) == 1
    assert shrink.runs <= 9 * shrink.new_trials
    assert shrink.runs < 8 * shrink.new_trials


def test_the_run_folder_is_enough(tmp_path):
    """Bench file, motion and settings may be gone by now: the folder has copies."""
    text = bench(tmp_path, PLANTED, motion="start.yaml")
    (tmp_path / "start.yaml").write_text(HOLD.strip("{}"))
    folder = run(text)
    text.unlink()
    (tmp_path / "start.yaml").unlink()
    assert len(shrunk(folder).result.flips) == 1


CAMS = (
    "{cams: {cam: {moves: [{at: 0.2, to: 20}], rate: 200}}, segments: [{hold: 3000, seconds: 1}]}"
)
GAS = (
    "{ripple: {engine: {bore_mm: 80, stroke_mm: 80, rod_mm: 140, compression_ratio: 10, "
    "cylinders: 4, firing_order: [1, 3, 4, 2], first_tdc: 84, inertia_kg_m2: 0.2}}, "
    "segments: [{ramp: 3000, from: 1500, rate: 3000}, {hold: 3000, seconds: 0.6}]}"
)


@pytest.mark.parametrize("motion", [CAMS, GAS], ids=["timed cam", "ripple of gas forces"])
def test_cam_timing_and_a_computed_ripple_stay_in_what_is_left(tmp_path, motion):
    folder = run(bench(tmp_path, PLANTED, motion=motion))
    whole = load_plan(folder / "fan.yaml").signal.motion
    shrink = shrunk(folder)
    (folder / "shrunk.yaml").write_text(cause_text(shrink.plan, shrink.result, folder))
    assert "cannot be written" not in (folder / "shrunk.yaml").read_text()
    left = load_plan(folder / "shrunk.yaml").signal.motion
    assert left.cams == whole.cams
    assert left[len(left) - 1].segment.ripple == whole[len(whole) - 1].segment.ripple
    assert left.end_s < whole.end_s


def test_the_command_says_what_it_found_and_where(planted, capsys):
    assert main(["shrink", str(planted), "--json"]) == 0
    said = capsys.readouterr()
    data = json.loads(said.out)
    assert (data["needed"], data["failure"]) == (1, "it says that it lost sync")
    assert Path(data["file"]).read_text().startswith("# Shrunk from a run of 'Fan, planted'")
    assert "changes in 1 s" in said.err and "trials" in said.err
    assert main(["run", data["file"], "--runs", str(planted / "more")]) == 1


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["shrink", "nowhere"], "There is no folder nowhere"),
        (["shrink", "."], ". holds no run"),
        (["shrink", "search"], "the record of many trials, not of one run"),
        (["shrink", "empty"], "empty is no record"),
        (["shrink", "damaged"], "summary.json cannot be read"),
    ],
)
def test_what_is_no_run_is_refused(words, told, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    SearchRecord(tmp_path / "search").close()
    for name in ("empty", "damaged"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "run.sqlite").touch()
    (tmp_path / "damaged" / "summary.json").touch()
    assert main(words) == 2
    assert told in capsys.readouterr().err


def test_a_run_that_passed_is_not_said_to_fail_again(tmp_path, capsys):
    assert main(["shrink", str(run(bench(tmp_path, INNOCENT), Outcome.PASSED))]) == 2
    said = capsys.readouterr().err
    assert "the run does not fail, so there is nothing to shrink" in said
    assert "It fails again" not in said


def test_a_run_that_a_weak_voltage_made_fail_is_not_said_to_fail_now_and_then(tmp_path, capsys):
    weak = "weak: {kind: weak_signal, track: crank, teeth: [20], threshold_mv: 1, from_s: 0.3, "
    path = bench(tmp_path, weak + "peak_mv_at_1000_rpm: 20}")
    vr = "{line: crank, vr: {arming_mv: [[0, 300]], teeth_a_turn: 60}}"
    text = path.read_text().replace("{line: crank}", vr)
    path.write_text(
        f"{text}sensors: {{crank: {{kind: vr, amplitude: {{mv_per_rpm: 2}}}}}}\n"
        "stage: {crank: {output: vr, full_scale_mv: 12000}}\n"
    )
    assert main(["shrink", str(run(path))]) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "'weak'" in said and "faults.NAME.peak_mv_at_1000_rpm" in said and "votes" not in said


def test_where_it_fails_otherwise_without_any_change_that_is_said_at_once(tmp_path, capsys):
    extra = "more: {kind: extra_pulse, track: crank, teeth: [5], width_us: 40}"
    path = bench(tmp_path, extra, motion="{segments: [{hold: 3000, seconds: 0.12}]}")
    path.write_text(path.read_text().replace("reference_deg: 84", "reference_deg: 96"))
    assert main(["shrink", str(run(path))]) == 0
    said = " ".join(capsys.readouterr().err.split())
    assert "fails, too, but otherwise: its sparks stand at the wrong angle" in said


@pytest.mark.parametrize("votes", ["2", "0", "-3", "x"])
def test_votes_are_odd(votes, capsys):
    with pytest.raises(SystemExit) as caught:
        main(["shrink", ".", f"--votes={votes}"])
    assert caught.value.code == 2
    assert "odd number" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("value", "text"),
    [("5", "5"), ("-1", "-1"), ("1/8", "0.125"), ("-5/4", "-1.25"), ("1/3", '"1/3"')],
)
def test_numbers_are_written_as_they_can_be_read(value, text):
    assert number_text(Fraction(value)) == text
