"""The demo ends with the cause, and the README quotes what it says."""

import re
from pathlib import Path

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
    assert len(list(tmp_path.glob("runs/*/summary.json"))) == 4
