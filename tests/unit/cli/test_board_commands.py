"""boards, doctor, flash and `board: auto` as a script sees them."""

import json
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from serial.tools import list_ports

from edgewheel.board.image import load_image, packaged_image
from edgewheel.board.stage_store import StageStore
from edgewheel.cli.main import main
from pty_bench import Loopback, PtyBench
from usb_stand_in import Board, UsbStandIn, make_drive, usb_port

BENCH = """\
format: 1
name: The only board
wheel: 36-minus-1
board: auto
controller: {kind: serial, port: CONTROLLER}
motion: {segments: [{hold: 900, seconds: 0.5}]}
"""


@pytest.fixture(autouse=True)
def plugged(monkeypatch, tmp_path):
    """Says which ports are on USB; no drive of this computer is looked at."""
    monkeypatch.setattr("edgewheel.board.drives.usual_roots", lambda: (tmp_path / "media",))

    def plug(*ports):
        monkeypatch.setattr(list_ports, "comports", lambda: list(ports))

    plug()
    return plug


def test_boards_prints_a_table(plugged, capsys):
    with PtyBench(board=Board(firmware="0.3.1", unique_id=b"fan one ")) as bench:
        plugged(usb_port(bench.path), usb_port("/dev/ttyS0", (None, None)))
        assert main(["boards", "--port", "/dev/none"]) == 0
    out, err = capsys.readouterr()
    head, board, none = out.splitlines()
    assert head.split() == ["port", "board", "unique", "id", "firmware", "protocol", "state"]
    expected = [bench.path, "RP2040", "board", b"fan one ".hex(), "0.3.1", "1.2", "idle"]
    assert board.split() == expected
    assert none.split() == ["/dev/none", "-", "-", "-", "-", "no", "such", "port"]
    assert "There is no port /dev/none" in err
    assert "1 other serial port was left alone" in err


def test_boards_as_json(plugged, capsys, tmp_path):
    make_drive(tmp_path / "media" / "BOARD")
    with PtyBench(board=Board()) as bench:
        plugged(usb_port(bench.path))
        assert main(["boards", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    (board,) = data["boards"]
    assert (board["port"], board["usb"]) == (bench.path, "1209:0001")
    assert (board["state"], board["problem"]) == ("idle", None)
    drive = str(tmp_path / "media" / "BOARD")
    assert data["boot_loaders"] == [{"drive": drive, "board_id": "RPI-RP2"}]


def test_no_boards_is_an_empty_list_and_a_word_of_help(capsys):
    assert main(["boards", "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["boards"] == []
    assert "edgewheel flash" in err


def test_the_doctor_keeps_what_it_measured_with_the_board(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    with PtyBench(Loopback()) as bench:
        assert main(["doctor", "--port", bench.path, "--loop", "1:1", "--keep", "12 V"]) == 0
    file = tmp_path / "edgewheel" / "stages" / f"{b'simulate'.hex()}.yaml"
    assert str(file) in capsys.readouterr().err
    (stage,) = StageStore().find(b"simulate").values()
    assert stage.rise_us > 0
    assert stage.origin.startswith("measured 20") and stage.origin.endswith(", 12 V")


def test_the_doctor_ends_with_0_or_3(capsys):
    with PtyBench(Loopback()) as bench:
        assert main(["doctor", "--port", bench.path, "--loop", "1:1", "--json"]) == 0
        data = json.loads(capsys.readouterr().out)
        assert data["passed"]
        assert [check["outcome"] for check in data["checks"]] == ["ok"] * 8
        assert data["checks"][-1]["values"]["loops"][0]["rise"]["mean_us"] > 0
        assert main(["doctor", "--port", bench.path, "--loop", "1:2"]) == 3
    lines = capsys.readouterr().out.splitlines()
    assert lines[-2].startswith("failed    loopback    no pulses from out1 to in2")
    assert lines[-1].strip().startswith("Wire out1 to in2")


@pytest.mark.parametrize("wire", ["1", "0:1", "1:0", "a:b", "1:", "-1:1"])
def test_a_wire_that_is_none(wire, capsys):
    with pytest.raises(SystemExit) as caught:
        main(["doctor", f"--loop={wire}"])
    assert caught.value.code == 2
    assert "write 1:1" in capsys.readouterr().err


def test_flash_says_what_was_there_and_what_is_now(tmp_path, monkeypatch, capsys):
    firmware = load_image(packaged_image()).firmware
    with UsbStandIn(tmp_path, firmware) as board:
        monkeypatch.setattr(list_ports, "comports", board.comports)
        assert main(["flash", "--drive", str(board.root), "--json"]) == 0
    out, err = capsys.readouterr()
    data = json.loads(out)
    assert (data["before"], data["firmware"], data["protocol"]) == ("0.0.9", firmware, "1.2")
    assert "copying edgewheel-rp2040.uf2" in err


def test_flash_without_a_board_ends_with_3_and_with_a_bad_image_with_2(tmp_path, capsys):
    assert main(["flash"]) == 3
    assert "hold its boot button down" in capsys.readouterr().err
    (tmp_path / "mine.uf2").write_bytes(b"x")
    assert main(["flash", "--image", str(tmp_path / "mine.uf2")]) == 2
    assert "mine.json" in capsys.readouterr().err


def test_help_says_what_was_never_tried(capsys):
    for command in ("flash", "doctor"):
        with pytest.raises(SystemExit):
            main([command, "--help"])
        text = " ".join(capsys.readouterr().out.split())
        assert "never" in text and "real" in text


@pytest.fixture
def auto(tmp_path, monkeypatch):
    """A bench file with `board: auto`, and what listens as the controller."""
    monkeypatch.chdir(tmp_path)
    with PtyBench() as controller:
        Path("bench.yaml").write_text(BENCH.replace("CONTROLLER", controller.path))
        yield "bench.yaml"


def test_auto_takes_the_only_board_and_the_record_names_it(auto, plugged, capsys):
    with PtyBench(board=Board(firmware="0.3.1", unique_id=b"fan one ")) as bench:
        plugged(usb_port(bench.path))
        main(["run", auto, "--json"])
        data = json.loads(capsys.readouterr().out)
    assert data["verified"], data
    (path,) = Path("runs").glob("*/summary.json")
    with sqlite3.connect(path.with_name("run.sqlite")) as record:
        rows = record.execute("SELECT state, reason, played FROM board ORDER BY tick").fetchall()
    edges = 2 * 35 * 900 / 60 * 0.5
    assert rows[-2][:2] == ("holding", "end")
    assert edges - 2 <= rows[-2][2] <= edges + 2
    board = json.loads(path.read_text())["board"]
    assert board == f"RP2040 board with the id {b'fan one '.hex()}, firmware 0.3.1"


def test_auto_with_no_board_or_two_is_a_lost_bench(auto, plugged, capsys):
    assert main(["run", auto]) == 3
    assert "No board is on USB" in capsys.readouterr().err
    with PtyBench(board=Board()) as one, PtyBench(board=Board()) as two:
        plugged(usb_port(one.path), usb_port(two.path))
        assert main(["run", auto]) == 3
    assert "There are 2 boards" in capsys.readouterr().err


def test_auto_opens_nothing_in_a_dry_run(auto, capsys):
    assert main(["run", auto, "--dry-run"]) == 0


def test_boards_needs_no_numpy():
    code = (
        "import sys\nfrom edgewheel.cli.main import main\nmain(['boards'])\n"
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True).returncode == 0
