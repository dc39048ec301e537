"""A suite that was played: where it begins to fail, the signal around the loss is shown too."""

import json

from edgewheel.report.read import read_report
from records import bench_file, made_by

PLAN = """\
format: 1
name: The top of the range
bench: ../fan.yaml
seed: 3
tests:
  top:
    title: Highest speed
    kind: speed
    begin_rpm: 4500
    vary: {from: 5000, to: 6400, within_percent: 30}
    limits: {rpm: {at_least: 5200}}
"""


def test_the_trial_that_failed_is_played_again(tmp_path):
    """From a bench file of another folder, which is found among the copies."""
    bench_file(tmp_path)
    plan = tmp_path / "plans" / "plan.yaml"
    plan.parent.mkdir()
    plan.write_text(PLAN)
    run = made_by(tmp_path, "qualify", str(plan))
    for name in ("report.html", "report.json", "junit.xml", "run.log"):
        assert (run / name).is_file()
    (test,) = read_report(run).tests
    assert test.seconds == json.loads((run / "summary.json").read_text())["engine_seconds"] > 1
    threshold, shown, words = test.evidence()
    assert (threshold["kind"], threshold["limit"]) == ("threshold", 5200)
    assert shown["kind"] == "waveform"
    assert {mark["why"] for mark in shown["marked"]} == {
        "was counted as a tooth where the sound wheel has none"
    }
    assert words["words"][0].startswith("The signal is that of a trial that failed, at ")
    (run / "plan.yaml").unlink()
    (only,) = read_report(run).tests[0].evidence()
    assert only["kind"] == "threshold"
