"""import, learn and replay as a script sees them."""

import json

import pytest

from captures import save_vcd, table
from edgewheel.cli.main import main


@pytest.fixture
def vcd(tmp_path):
    return str(save_vcd(tmp_path / "fan.vcd", *table("60-minus-2-half-moon-cam", "up")))


def test_import_writes_an_edge_table_that_learn_reads(vcd, tmp_path, capsys):
    table_file = str(tmp_path / "fan.csv")
    assert main(["import", vcd, "--csv", table_file]) == 0
    assert "crank: " in capsys.readouterr().out
    assert main(["learn", table_file]) == 0
    assert "60-2 with 1 tooth on cam, sure" in capsys.readouterr().out


def test_import_to_stdout_is_data_only(vcd, capsys):
    assert main(["import", vcd, "--csv", "-"]) == 0
    out, err = capsys.readouterr()
    assert out.splitlines()[1] == "tick,track,level"
    assert "edges in" in err


def test_import_as_json(vcd, capsys):
    assert main(["import", vcd, "--json"]) == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary["tracks"]["cam"]["edges"] > 40


def test_learn_as_json_and_as_files(vcd, tmp_path, capsys):
    wheel, speed = tmp_path / "wheel.yaml", tmp_path / "speed.csv"
    assert main(["learn", vcd, "--json", "--wheel", str(wheel), "--speed", str(speed)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["sure"] is True
    assert found["explanations"][0]["nearest"]["name"] == "60-minus-2-half-moon-cam"
    assert main(["check", str(wheel)]) == 0
    assert speed.read_text().startswith("time,rpm\n0.000000,")


def test_a_bench_file_needs_somebodys_controller(vcd, tmp_path, capsys):
    assert main(["learn", vcd, "--bench", str(tmp_path / "b.yaml")]) == 2
    assert "--like" in capsys.readouterr().err


def test_bad_captures_end_with_2_and_a_sentence(tmp_path, capsys):
    path = tmp_path / "a.csv"
    path.write_text("time,crank\n0,1\n1,1\n2,1\n")
    assert main(["import", str(path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "'crank' is constant at 1" in err
