"""The demo ends with the cause, and the README quotes what it says."""

import re
from pathlib import Path

from edgewheel.bench.rerun import plan_of_run
from edgewheel.cli.main import main

README = Path(__file__).parents[3] / "README.md"


def test_the_demo_says_where_why_and_what_to_do(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["demo"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "dropped on the way to 6000 rpm" in out
    assert out.count("sync held at every speed up to 6500 rpm and down again.") == 3
    assert "Where: above 5750 rpm." in out
    assert "it takes both parts" in out
    assert "exposed from 5882 rpm on" in out
    assert "raise the crank input's blanking to 30 %" in out
    quoted = re.search(r"fault to show:\n\n(.*?)\n\nAll tests", README.read_text(), re.DOTALL)
    for sentence in " ".join(quoted[1].split()).split("* ")[1:]:
        assert sentence.strip() in out
    folders = sorted(path.parent for path in tmp_path.glob("runs/*/summary.json"))
    assert len(folders) == 4
    plans = [plan_of_run(folder, "frost-fan.yaml") for folder in folders]
    assert [len(plan.signal.faults) for plan in plans] == [1, 0, 1, 1]
    blanking = [plan.controller.settings.crank.blanking_percent for plan in plans]
    assert blanking == [20, 20, 20, 30]
