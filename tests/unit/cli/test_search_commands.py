"""threshold, envelope and diagnose from the command line."""

import json

import pytest

from edgewheel.cli.main import main
from wrong_settings import CASES, SIXTY

BOUNCE = "faults: {worn: {kind: bounce, track: crank, after: rise, delay_us: 300, width_us: 4}}\n"
DELAY = ["faults.worn.delay_us", "--from", "100", "--to", "400"]
QUICK = ["--speed", "900", "--hold", "0.1", "--within", "20"]
LIMIT_US = 0.2 * 6 / 6 / 900 * 1e6 - 4


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "bench.yaml"
    file.write_text(SIXTY + BOUNCE)
    return str(file)


def test_threshold_says_where_and_how_sure(bench, capsys):
    assert main(["threshold", bench, *DELAY, *QUICK]) == 0
    output = capsys.readouterr()
    assert output.out.startswith("The controller fails above faults.worn.delay_us = ")
    assert "it held every time" in output.out
    assert "trial   1" in output.err


def test_threshold_as_json_is_data_alone(bench, capsys):
    assert main(["threshold", bench, *DELAY, *QUICK, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (data["schema"], data["fails"], data["found"]) == (1, "above", "bracket")
    assert data["low"] <= LIMIT_US <= data["high"]
    assert data["failed_trials"] >= 6 and data["passed_trials"] >= 6


def test_a_finished_threshold_is_taken_up_without_a_new_trial(bench, capsys):
    assert main(["threshold", bench, *DELAY, *QUICK, "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    assert main(["threshold", bench, *DELAY, *QUICK, "--json", "--resume", first["folder"]]) == 0
    assert json.loads(capsys.readouterr().out) == first


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--from", "9", "--to", "3"], "lower value first"),
        (["--from", "1", "--to", "3", "--probability", "2"], "0.01 to 0.99"),
        (["--from", "1", "--to", "3", "--within", "0"], "above 0"),
    ],
)
def test_what_cannot_be_asked_is_refused(bench, capsys, words, says):
    assert main(["threshold", bench, "speed", *words]) == 2
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("faults.worn.delay", "delay_us"),
        ("name", "is not a number"),
        ("faults.worn", "is not a number"),
        ("seed", "a seed of its own"),
    ],
)
def test_only_a_number_that_decides_something_can_be_varied(bench, capsys, tmp_path, address, says):
    """And nothing was played or recorded for it."""
    (tmp_path / "bench.yaml").write_text(f"{SIXTY}{BOUNCE}seed: 4\n")
    words = [address, "--from", "1", "--to", "3", "--speed", "900"]
    assert main(["threshold", bench, *words]) == 2
    assert says in capsys.readouterr().err
    assert not (tmp_path / "runs").exists()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("format: 1\ntracks: {}\n", "this is a wheel, no bench file"),
        ("format: 1\ntests: {}\n", "Play it with 'edgewheel qualify "),
        ("format: 1\nname: x\n", "'wheel' is missing"),
    ],
)
def test_another_file_in_a_bench_files_place_is_told(bench, capsys, tmp_path, text, says):
    (tmp_path / "bench.yaml").write_text(text)
    assert main(["run", bench]) == 2
    assert says in capsys.readouterr().err


def test_envelope_draws_on_80_columns_and_into_a_file(bench, capsys, tmp_path):
    words = ["--x", "faults.worn.delay_us", "100", "400", "--y", "speed", "600", "1200"]
    words += ["--halvings", "2", "--look", "1", "--hold", "0.1", "--svg", "map.svg"]
    assert main(["envelope", bench, *words]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines[:28])) <= 80
    assert any("#" in line and "." in line for line in lines[:25])
    assert (tmp_path / "map.svg").read_text().startswith("<svg")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--x", "speed", "a", "b", "--y", "seed", "1", "2"], "two numbers"),
        (["--x", "speed", "1", "2", "--y", "seed", "1", "2", "--halvings", "9"], "from 1 to 8"),
    ],
)
def test_an_envelope_that_cannot_be_asked_is_refused(bench, capsys, words, says):
    assert main(["envelope", bench, *words]) == 2
    assert says in capsys.readouterr().err


def test_diagnose_explains_as_it_goes_and_names_the_setting(bench, capsys, tmp_path):
    wrong = SIXTY.replace("missing: 2, gap_ratio_low: 2.2", "missing: 2, gap_ratio_low: 3.3")
    (tmp_path / "bench.yaml").write_text(wrong)
    assert CASES["gap limits too high"].names == ("gap-ratio limits",)
    assert main(["diagnose", bench]) == 1
    output = capsys.readouterr()
    assert "* Wrong: gap-ratio limits." in output.out
    assert "try  2  the gap 3.75 times as long" in output.err
    assert main(["diagnose", bench, "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["complete"] is True
    assert [finding["settings"] for finding in data["findings"]] == [["gap-ratio limits"]]
    assert [step["stage"] for step in data["steps"]] == ["nothing", "right"]


def test_diagnose_of_a_sound_controller_passes(bench, capsys, tmp_path):
    (tmp_path / "bench.yaml").write_text(SIXTY)
    assert main(["diagnose", bench]) == 0
    assert "nothing is wrong at 1000 rpm" in capsys.readouterr().out


def test_diagnose_at_another_speed_and_taken_up(bench, capsys, tmp_path):
    (tmp_path / "bench.yaml").write_text(SIXTY)
    assert main(["diagnose", bench, "--speed", "2000", "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    again = ["diagnose", bench, "--resume", first["folder"]]
    assert main([*again, "--speed", "2000", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == first
    assert main(again) == 2
    assert "the record of another search" in capsys.readouterr().err
    assert main(["diagnose", bench, "--speed", "2"]) == 2
    assert "write 60 to 20000 rpm" in capsys.readouterr().err
