"""The commands that only look at wheels: wheels, check, draw."""

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from edgewheel.cli.main import main
from edgewheel.wheel import library
from library_wheels import entries


def output(capsys, *words: str, code: int = 0) -> str:
    assert main(words) == code
    said = capsys.readouterr()
    assert said.err == "" or code
    return said.out if not code else said.err


def test_wheels_lists_every_wheel_under_its_group(capsys):
    lines = output(capsys, "wheels").splitlines()
    assert [line.rstrip(":") for line in lines if not line.startswith(" ")] == list(library.GROUPS)
    assert [line.split()[0] for line in lines if line.startswith(" ")] == [
        entry.stem for entry in entries()
    ]


def test_wheels_as_json_says_where_each_is_met(capsys):
    wheels = json.loads(output(capsys, "wheels", "--json"))
    assert len(wheels) == len(library.names())
    fan = next(one for one in wheels if one["name"] == "60-minus-2-half-moon-cam")
    assert fan["tracks"]["crank"] == {"shaft": "crank", "sensor": "hall", "teeth": 58}
    assert fan["firing_order"] == [1, 3, 4, 2]
    assert all(one["met"] for one in wheels)


def test_check_answers_what_is_asked_of_a_pattern(capsys):
    said = output(capsys, "check", "60-minus-2-half-moon-cam", "--input-limit-us", "20")
    for words in (
        "crank position  yes",
        "cycle phase     yes",
        "looks alike     no rotation",
        "never: alike after 360°",
        "from the rising to the falling edge every tooth is 3° later",
        "below 20 µs beyond 25,000 rpm",
        "TDC of cylinder 1 is 84° after its rising edge at 0°",
        "TDC of cylinder 1 is 81° after its falling edge at 3°",
    ):
        assert words in said


def test_check_of_an_even_wheel_says_no_twice(capsys):
    said = output(capsys, "check", "4-even-cam")
    assert "crank position  no" in said
    assert "cycle phase     no" in said
    assert "looks alike     after 180°, 360°, 540°" in said


def test_check_says_when_only_the_tolerance_hides_the_position(capsys, tmp_path):
    nearly = tmp_path / "nearly.yaml"
    nearly.write_text(
        "format: 1\nname: nearly even\nperiod: 360\n"
        "tracks: {t: {shaft: crank, teeth: {spans: [10, 80, 10, 80, 10, 90, 10, 70]}}}\n"
    )
    assert "never at this tolerance" in output(capsys, "check", str(nearly), "--tolerance", "0.5")
    assert "never" not in output(capsys, "check", str(nearly), "--tolerance", "0.01")


@pytest.mark.parametrize("group", library.GROUPS)
def test_check_speaks_of_every_kind_in_words_and_in_json(capsys, group: str):
    name = next(entry.stem for entry in entries() if entry.wheel.group == group)
    assert output(capsys, "check", name).startswith(library.find(name).name)
    found = json.loads(output(capsys, "check", name, "--json", "--input-limit-us", "5"))
    assert len(found["sure_after"]) == 6
    assert all(one["rpm_limit"] > 0 for one in found["shortest"])


def test_check_of_a_wrong_file_names_the_line_and_prints_no_data(capsys, tmp_path):
    wrong = tmp_path / "wrong.yaml"
    wrong.write_text("format: 1\nname: x\nperiod: 0\n")
    assert f"{wrong}:3: period" in output(capsys, "check", str(wrong), code=2)


def test_draw_writes_a_picture(tmp_path: Path, capsys):
    target = tmp_path / "fan.svg"
    output(capsys, "draw", "36-minus-1", "--svg", str(target))
    assert ElementTree.parse(target).getroot().tag.endswith("svg")
    assert list(tmp_path.iterdir()) == [target]


def test_draw_to_stdout_is_the_picture_and_nothing_else(capsys):
    ElementTree.fromstring(output(capsys, "draw", "36-minus-1", "--svg", "-"))


def test_draw_makes_the_sheet_of_the_library(tmp_path: Path, capsys):
    target = tmp_path / "sheet.svg"
    output(capsys, "draw", "--sheet", str(target))
    assert target.read_bytes() == (library.folder() / "sheet.svg").read_bytes()


@pytest.mark.parametrize("words", [[], ["36-minus-1"], ["--svg", "x.svg"]])
def test_draw_asks_for_what_is_missing(capsys, words: list[str]):
    assert "Give" in output(capsys, "draw", *words, code=2)


def test_draw_of_an_unknown_wheel_leaves_no_file(tmp_path: Path, capsys):
    said = output(capsys, "draw", "36-minis-1", "--svg", str(tmp_path / "x.svg"), code=2)
    assert "36-minus-1" in said
    assert not list(tmp_path.iterdir())


def test_draw_into_no_folder_is_the_disk_not_the_controller(tmp_path: Path, capsys):
    said = output(capsys, "draw", "36-minus-1", "--svg", str(tmp_path / "no" / "x.svg"), code=3)
    assert "cannot be written" in said
