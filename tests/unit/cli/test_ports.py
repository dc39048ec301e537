"""The same commands through real serial ports: the simulated pair as pseudo-terminals."""

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from edgewheel.cli.main import main

pytestmark = pytest.mark.realtime

CONTROLLER = """\
crank: {line: crank}
cam: {line: cam}
wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
phase: {by: level, level: high}
engine: {tdc_after_reference_deg: 84}
"""

BENCH = """\
format: 1
name: Through ports
wheel: 60-minus-2-half-moon-cam
board: BOARD
controller: {kind: serial, port: CONTROLLER}
signals: {sparks: {in1: {cylinders: [1]}, in2: {cylinders: [3]}}}
motion: {segments: [{ramp: 900, seconds: 0.3}, {hold: 900, seconds: SECONDS}]}
limits: {sync_within_s: 1}
"""


@pytest.fixture
def pair(tmp_path, monkeypatch):
    """A simulated board and controller on two ports; the process and the ports."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "controller.yaml").write_text(CONTROLLER)
    words = ["board", "sim", "--pty", "--controller", "controller.yaml"]
    process = subprocess.Popen(
        [sys.executable, "-m", "edgewheel", *words], stdout=subprocess.PIPE, text=True
    )
    ports = [process.stdout.readline().split()[1] for _ in range(2)]
    yield process, ports
    process.terminate()
    process.wait(timeout=10)


def write_bench(ports: list[str], seconds: str) -> str:
    board, controller = ports
    text = BENCH.replace("BOARD", board).replace("CONTROLLER", controller)
    Path("bench.yaml").write_text(text.replace("SECONDS", seconds))
    return "bench.yaml"


def test_a_run_through_the_ports_passes_and_is_verified(pair, capsys):
    _, ports = pair
    assert main(["run", write_bench(ports, "1.5"), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (data["outcome"], data["verified"], data["losses"]) == ("passed", True, [])
    assert b"rpm=900.0 sync=full" in (Path(data["folder"]) / "controller.log").read_bytes()


def test_a_board_that_goes_away_is_a_lost_bench_not_a_failed_controller(pair, capsys):
    process, ports = pair
    run = subprocess.Popen(
        [sys.executable, "-m", "edgewheel", "run", write_bench(ports, "60")],
        stderr=subprocess.PIPE,
        text=True,
    )
    wait_for_reports()
    process.kill()
    _, err = run.communicate(timeout=20)
    assert run.returncode == 3
    assert "gone" in err or "said nothing" in err
    (summary,) = Path("runs").glob("*/summary.json")
    assert json.loads(summary.read_text())["outcome"] == "error"


def test_a_port_that_is_not_there_ends_with_3(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["run", write_bench(["/dev/none-0", "/dev/none-1"], "1")]) == 3
    assert "There is no port /dev/none-1" in capsys.readouterr().err


def wait_for_reports() -> None:
    deadline = time.monotonic() + 20
    while not any(log.stat().st_size for log in Path("runs").glob("*/controller.log")):
        assert time.monotonic() < deadline
        time.sleep(0.05)
