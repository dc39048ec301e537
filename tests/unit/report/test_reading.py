"""From the folder of each command to what its report says."""

import json
import shlex

import pytest

from edgewheel.bench.loader import load_plan
from edgewheel.cli.main import main
from edgewheel.errors import UsageError
from edgewheel.report.kinds.qualify import measured_words
from edgewheel.report.model import Grade
from edgewheel.report.read import read_report
from edgewheel.report.writing import report_data
from edgewheel.search.sweep import Sweep
from records import bench_file, made_by, suite_record

FAILING = """\
motion:
  segments:
    - {hold: 4000, seconds: 0.1}
    - {ramp: 6100, rate: 40000}
    - {hold: 6100, seconds: 0.04}
"""
SLOW = "motion: {segments: [{ramp: 1000, rate: 5000}, {hold: 1000, seconds: 0.3}]}\n"


def kinds(report):
    return [one["kind"] for one in report.tests[0].evidence()]


def test_a_run_that_failed(tmp_path):
    bench = bench_file(tmp_path, motion=FAILING)
    report = read_report(made_by(tmp_path, "run", str(bench)))
    assert (report.kind, report.grade) == ("run", Grade.FAILED)
    assert "sync was lost" in report.answer.lower()
    assert "6,100 rpm" in report.tested and "sensor (bounce)" in report.tested
    assert [one.command.split()[:2] for one in report.advice if one.command] == [
        ["edgewheel", "shrink"],
        ["edgewheel", "run"],
    ]
    assert report.repeat.startswith(f"edgewheel run {bench}")
    assert dict(report.facts)["Controller"] == "the simulated one"
    assert report.files[0].name == "fan.yaml"
    waveform, speed, *_ = report.tests[0].evidence()
    assert waveform["kind"] == "waveform" and waveform["marked"]
    assert speed["kind"] == "speed" and max(rpm for _, rpm in speed["true"]) == 6100


def test_a_run_that_passed_has_no_loss_to_show(tmp_path):
    report = read_report(made_by(tmp_path, "run", str(bench_file(tmp_path, motion=SLOW))))
    assert report.grade is Grade.PASSED
    assert not report.wrong
    assert "waveform" not in kinds(report)
    assert "threshold" in report.advice[0].command


def test_a_shrunk_run_shows_the_least_too(tmp_path):
    run = made_by(tmp_path, "run", str(bench_file(tmp_path, motion=FAILING)))
    assert main(["shrink", str(run)]) == 0
    report = read_report(run)
    assert [test.name for test in report.tests] == ["run", "shrink"]
    (shrinking,) = report.tests[1].evidence()
    assert len(shrinking["trials"]) == report.tests[1].trials > 3
    assert "of" in report.tests[1].sentence and "changes" in report.tests[1].sentence


def test_a_sweep_counts_each_point_as_a_case(tmp_path):
    report = read_report(made_by(tmp_path, "sweep", str(bench_file(tmp_path))))
    (test,) = report.tests
    assert report.grade is Grade.FAILED
    assert test.measured == "held up to 5,750 rpm"
    assert len(test.cases) == 11
    assert {case.grade for case in test.cases} == {Grade.PASSED, Grade.FAILED}
    assert "--from 5750 --to 6000" in report.advice[1].command
    assert kinds(report)[:2] == ["staircase", "waveform"]


def test_a_sweep_that_was_stopped_turned_as_long_as_it_did(tmp_path):
    sweep = Sweep(load_plan(bench_file(tmp_path)), tmp_path / "runs")
    for _ in sweep.items():
        sweep.runner.rig.abort()
    report = read_report(sweep.runner.folder)
    assert report.grade is Grade.STOPPED
    assert 0 < report.tests[0].seconds < 1


def test_a_search_that_no_command_made_is_told_as_one_that_asks_the_same(tmp_path, monkeypatch):
    """It has the same fingerprint: taken up again by that command, it has no trial to play."""
    address = "faults.sensor.delay_us"
    asked = ["--speed", "3000", "--hold", "1/4"]
    folder = made_by(
        tmp_path,
        "threshold",
        str(bench_file(tmp_path)),
        address,
        "--from",
        "30",
        "--to",
        "90",
        *asked,
    )
    summary = json.loads((folder / "summary.json").read_text())
    del summary["repeat"]
    (folder / "summary.json").write_text(json.dumps(summary))
    told = read_report(folder).repeat
    assert told.endswith("--from 30 --to 90 --speed 3000 --hold 1/4")
    monkeypatch.setattr("edgewheel.search.trials.judge", None)
    assert main([*shlex.split(told)[1:], "--resume", str(folder)]) == 0


def test_a_threshold_is_measured_not_judged(tmp_path):
    words = ["speed", "--from", "5500", "--to", "6200", "--trials", "4", "--hold", "0.05"]
    folder = made_by(tmp_path, "threshold", str(bench_file(tmp_path)), *words)
    report = read_report(folder)
    assert report.grade is Grade.MEASURED
    assert report.answer.startswith("The controller fails above speed = ")
    evidence, shown, words = report.tests[0].evidence()
    assert {trial["passed"] for trial in evidence["trials"]} == {True, False}
    assert shown["kind"] == "waveform" and shown["marked"]
    assert words["words"][0].startswith("The signal is that of trial ")
    assert "between 5,500 and 6,200 rpm" in report.tested
    assert report.advice[0].text.startswith("Keep speed below ")
    assert ", where 1 % of trials fail, and leave" in report.advice[0].text
    assert report.tests[0].trials == len(evidence["trials"])
    found = json.loads((folder / "summary.json").read_text())["threshold"]

    def advice(**changes):
        (one,) = with_summary(folder, threshold=found | changes).advice
        return one.text, one.command

    sharp = {"threshold": 6000.0, "spread": 0.0, "low": 5950.0, "high": 6050.0}
    assert advice(**sharp)[0].startswith("Keep speed below 5,950 rpm, and leave a margin")
    assert advice(**sharp, fails="below")[0].startswith("Keep speed above 6,050 rpm, and leave")
    unsafe = sharp | {"low": 5400.0, "high": 6300.0}
    assert advice(**unsafe)[0].endswith("Search further down.")
    assert advice(**unsafe, fails="below")[0].endswith("Search further up.")
    assert advice(threshold=None, failed_trials=0)[0].endswith("one that fails between these.")
    assert "edgewheel diagnose" in advice(threshold=None, failed_trials=3)[1]


def test_an_envelope(tmp_path):
    words = ["--x", "speed", "5000", "6500", "--y", "faults.sensor.delay_us", "20", "40"]
    more = ["--halvings", "1", "--look", "1", "--hold", "0.05"]
    bench = str(bench_file(tmp_path))
    report = read_report(made_by(tmp_path, "envelope", bench, *words, *more))
    assert report.grade is Grade.MEASURED
    assert "of the map of speed, rpm (5,000 to 6,500)" in report.answer
    assert kinds(report) == ["envelope"]


def test_starts(tmp_path):
    folder = made_by(tmp_path, "starts", str(bench_file(tmp_path)), "--starts", "4")
    report = read_report(folder)
    assert report.grade is Grade.PASSED
    assert report.answer.startswith("All 4 starts found sync, at worst after ")
    assert kinds(report) == ["starts"]
    never = with_summary(folder, without_sync=1)
    assert (never.grade, never.answer) == (Grade.FAILED, "1 of 4 starts never found sync.")
    assert "edgewheel diagnose" in never.advice[0].command
    assert with_summary(folder, without_sync=0, stopped=True).grade is Grade.STOPPED


def test_a_diagnosis_gives_its_remedies_as_advice(tmp_path):
    bench = bench_file(tmp_path)
    bench.write_text(bench.read_text().replace("pitches: 60", "pitches: 36"))
    folder = made_by(tmp_path, "diagnose", str(bench))
    report = read_report(folder)
    assert report.grade is Grade.FAILED
    assert report.answer.startswith("Wrong: ")
    assert report.advice[0].text.startswith("The controller is set for 36 pitches")
    diagnosis = json.loads((folder / "summary.json").read_text())["diagnosis"]
    unsure = with_summary(folder, diagnosis={**diagnosis, "complete": False})
    assert unsure.advice[0].text.startswith("Perhaps wrong, ")
    assert kinds(report) == ["diagnosis"]


def test_a_suite(tmp_path):
    report = read_report(suite_record(tmp_path / "suite"))
    assert report.grade is Grade.ERROR
    assert report.answer == (
        "Of 4 tests, 1 failed (Cam early), 1 could not be judged (Dwell), "
        "1 marginal (Recovery) and 1 passed."
    )
    assert [test.name for test in report.wrong] == ["dwell", "cam_early", "recovery"]
    highest, _, recovery, _ = report.tests
    assert highest.measured == "7,398 rpm (7,359 to 7,438)"
    assert highest.limit == "at least 6,000 rpm, marginal within 300"
    assert recovery.measured == "142 ms (140 or more)"
    assert report.against.worse == ("Recovery takes 9 ms longer.",)
    assert (report.against.compared, report.against.not_compared) == (3, ("stall",))
    assert highest.evidence()[0]["limit"] == 6000
    assert "4 tests, 19.1 minutes of a turning engine." in report.tested
    margin = report.overview[0]["tests"][0]
    assert (margin["value"], margin["low"], margin["high"]) == (7398, 7359, 7438)


def test_what_a_suite_advises(tmp_path):
    folder = suite_record(tmp_path / "suite")
    tests = json.loads((folder / "summary.json").read_text())["tests"]

    def advice(*verdicts):
        some = [test for test in tests if test["verdict"] in verdicts]
        told = with_summary(folder, tests=some).advice
        return [(one.text.partition(":")[0], one.command.partition(" --")[0]) for one in told]

    assert advice("failed", "error", "marginal", "passed") == [
        ("Cam early", "edgewheel qualify plan.yaml"),
        ("Nothing is said of the controller in dwell", "edgewheel doctor"),
        ("Inside the limit, but close to it or not known well enough", ""),
    ]
    ((sound, command),) = advice("passed")
    assert sound == "Nothing needs mending. Hold the next release against this one."
    assert command.startswith("edgewheel qualify ")
    _, (close, _) = advice("passed", "marginal")
    assert close == "Hold the next release against this one."


@pytest.mark.parametrize(
    ("value", "low", "high", "told"),
    [
        (7398.0, 7359.0, 7438.4, "7,398 ms (7,359 to 7,438.4)"),
        (142.0, 140.0, None, "142 ms (140 or more)"),
        (142.0, None, 150.0, "142 ms (up to 150)"),
        (None, 140.0, None, "never (140 or more)"),
        (5.0, None, None, "5 ms"),
        (5.0, 5.0, 5.0, "5 ms"),
        (5.0, 4.99999, 5.00001, "5 ms"),
    ],
)
def test_a_value_is_told_with_its_interval(value, low, high, told):
    assert measured_words({"value": value, "low": low, "high": high, "unit": "ms"}) == told


def test_what_is_no_record_is_refused_with_a_sentence(tmp_path):
    with pytest.raises(UsageError, match=r"no summary\.json"):
        read_report(tmp_path)
    (tmp_path / "summary.json").write_text('{"kind": "qualify", "name": "x"}')
    with pytest.raises(UsageError, match="lacks something"):
        read_report(tmp_path)
    (tmp_path / "summary.json").write_text('{"kind": "dance"}')
    with pytest.raises(UsageError, match="no report"):
        read_report(tmp_path)


def test_the_data_are_json_and_hold_the_evidence(tmp_path):
    report = read_report(suite_record(tmp_path / "suite"))
    data = json.loads(json.dumps(report_data(report), allow_nan=False))
    assert data["verdict"] == "error"
    assert data["tests"][0]["evidence"][0]["kind"] == "threshold"


def test_a_folder_whose_record_is_gone_still_tells_its_verdict(tmp_path):
    run = made_by(tmp_path, "run", str(bench_file(tmp_path, motion=FAILING)))
    (run / "run.sqlite").unlink()
    report = read_report(run)
    assert report.grade is Grade.FAILED
    assert {one["kind"] for one in report.tests[0].evidence()} == {"words"}


def with_summary(run, **changes):
    file = run / "summary.json"
    file.write_text(json.dumps(json.loads(file.read_text()) | changes))
    return read_report(run)


def test_how_a_run_ended_decides_what_to_do(tmp_path):
    run = made_by(tmp_path, "run", str(bench_file(tmp_path, motion=SLOW)))
    lost = with_summary(run, outcome="error", detail="the cable was pulled")
    assert (lost.grade, lost.advice[0].command) == (Grade.ERROR, "edgewheel doctor")
    assert lost.answer == "The cable was pulled."
    stopped = with_summary(run, outcome="aborted", detail="stopped by hand")
    assert stopped.grade is Grade.STOPPED and "edgewheel run" in stopped.advice[0].command
    never = with_summary(run, outcome="failed", detail="never", first_sync_s=None)
    assert "edgewheel diagnose" in never.advice[0].command


def test_a_run_that_was_steered_by_hand_is_shown_as_any_other(tmp_path):
    run = made_by(tmp_path, "run", str(bench_file(tmp_path, motion=FAILING)))
    report = with_summary(run, kind="live")
    kinds = [one["kind"] for one in report.tests[0].evidence()]
    assert kinds[:2] == ["waveform", "speed"]
    assert report.repeat.startswith("edgewheel run ") and report.repeat.endswith(".yaml")


def test_one_that_cannot_be_played_again_says_so(tmp_path):
    run = made_by(tmp_path, "run", str(bench_file(tmp_path, motion=FAILING)))
    report = with_summary(run, kind="live", not_again="The wheel itself was changed.")
    assert "waveform" not in [one["kind"] for one in report.tests[0].evidence()]
    assert report.repeat == "" and report.advice[0].text == "The wheel itself was changed."


def test_a_file_is_no_record(tmp_path, capsys):
    file = bench_file(tmp_path)
    assert main(["report", str(file)]) == 2
    told = capsys.readouterr().err
    assert f"{file} is a file" in told and "Errno" not in told


@pytest.mark.parametrize("text", ["[1]", "7", "{", "null"])
def test_a_summary_that_is_none_is_refused(tmp_path, text):
    (tmp_path / "summary.json").write_text(text)
    with pytest.raises(UsageError, match=r"summary\.json"):
        read_report(tmp_path)
