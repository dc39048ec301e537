"""`edgewheel check WHEEL --motion FILE`: the number that is typed into a controller."""

import json
from pathlib import Path

import pytest

from edgewheel.cli.main import main

CRANKING = """
ripple:
  engine:
    cylinders: 4
    firing_order: [1, 3, 4, 2]
    first_tdc: 84
    bore_mm: 86
    stroke_mm: 86
    rod_mm: 143
    compression_ratio: 10
    inertia_kg_m2: 0.6
segments:
  - {ramp: 210, seconds: 0.3}
  - {hold: 210, turns: 4}
"""


@pytest.fixture
def cranking(tmp_path) -> Path:
    file = tmp_path / "cranking.yaml"
    file.write_text(CRANKING)
    return file


def test_the_margin_under_a_motion_is_said_with_where_it_is_worst(capsys, cranking):
    assert main(["check", "36-minus-1", "--motion", str(cranking)]) == 0
    said = capsys.readouterr().out
    assert "successive periods of crank, rising edges, cranking.yaml" in said
    assert "margin 1.37" in said
    assert "a limit of 1.69 is in between" in said
    assert "worst at tooth 9, 0.183 s" in said


def test_the_same_as_json(capsys, cranking):
    assert main(["check", "36-minus-1", "--motion", str(cranking), "--json"]) == 0
    moved = json.loads(capsys.readouterr().out)["motion"]
    gap, ordinary = moved["ratios"]["gap"], moved["ratios"]["ordinary"]
    assert moved["margin"] == pytest.approx(gap["least"]["ratio"] / ordinary["greatest"]["ratio"])
    assert ordinary["greatest"]["ratio"] < moved["limit"] < gap["least"]["ratio"]
    assert moved["edges_lost"] == 0


def test_without_a_motion_nothing_is_said_of_it(capsys):
    assert main(["check", "36-minus-1", "--json"]) == 0
    assert "motion" not in json.loads(capsys.readouterr().out)


def test_a_wrong_motion_file_is_named(capsys, tmp_path):
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text(CRANKING.replace("rod_mm: 143", "rod_mm: 40"))
    assert main(["check", "36-minus-1", "--motion", str(wrong)]) == 2
    assert "wrong.yaml:9: ripple.engine.rod_mm" in capsys.readouterr().err
