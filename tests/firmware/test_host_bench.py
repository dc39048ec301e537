"""`edgewheel run` and `sweep` on the real image in the emulator, in real time.

The simulated controller hangs on the pins of the emulated board.
"""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from edgewheel.board.enquiry import Enquiry
from edgewheel.cli.main import main
from edgewheel.clock import WallClock
from edgewheel.controller.sim.reading import read_settings
from edgewheel.link.messages import Reason, State, Status
from edgewheel.link.serial_port import SerialPort
from edgewheel.yamlfile import parse
from firmware.kit.cable import Cable
from firmware.kit.emulator import MS
from firmware.kit.wired import EmulatedClock, WiredBoard

pytestmark = [pytest.mark.slow, pytest.mark.realtime]

SECOND = 10**9
COARSE_US = 2_000
CLOCKS_APART_MS = 5
"""At most so much later than the emulated chip's the board's own clock begins to count."""
CONTROLLER = """\
crank: {line: crank}
cam: {line: cam}
wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
phase: {by: level, level: high}
engine: {tdc_after_reference_deg: 84}
"""

BENCH = """\
format: 1
name: Through the image
wheel: 60-minus-2-half-moon-cam
board: BOARD
controller: {kind: serial, port: CONTROLLER}
limits: {sync_within_s: 1}
"""

STEADY = "motion: {segments: [{ramp: 900, seconds: 0.3}, {hold: 900, seconds: 1.2}]}\n"
LONG = STEADY.replace("1.2", "60")
STAIRCASE = "sweep: {from: 600, to: 1200, step: 300, rate: 2000, settle: 0.1, hold: 0.2}\n"


@pytest.fixture
def wired(image: Path, tmp_path: Path) -> Iterator[Callable[..., WiredBoard]]:
    """Makes boards with a controller on their pins; all end with the test."""
    boards: list[WiredBoard] = []

    def make(settings: str = CONTROLLER, **options: Any) -> WiredBoard:
        boards.append(
            WiredBoard(image, read_settings(parse(settings, "controller.yaml")), **options)
        )
        return boards[-1]

    yield make
    for board in boards:
        board.close()


def edgewheel(folder: Path, *words: str) -> subprocess.Popen[str]:
    """The command in a process of its own, as people start it."""
    return subprocess.Popen(
        [sys.executable, "-m", "edgewheel", *words],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def bench_file(folder: Path, board: WiredBoard, rest: str, url: str = "") -> str:
    text = BENCH.replace("BOARD", url or board.url).replace("CONTROLLER", board.controller_url)
    (folder / "bench.yaml").write_text(text + rest, encoding="utf-8")
    return "bench.yaml"


@pytest.fixture
def edgewheel_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, dict[str, Any]]]:
    """Runs a command to its end in the time of the board; exit code, and its JSON."""
    monkeypatch.chdir(tmp_path)

    def run(board: WiredBoard, *words: str) -> tuple[int, dict[str, Any]]:
        monkeypatch.setattr("edgewheel.bench.ports.WallClock", lambda: EmulatedClock(board))
        code = main([*words, "--json"])
        return code, json.loads(capsys.readouterr().out)

    return run


def test_a_run_passes_and_is_verified(
    wired: Callable[..., WiredBoard], edgewheel_at: Callable[..., Any], tmp_path: Path
) -> None:
    board = wired()
    code, data = edgewheel_at(board, "run", bench_file(tmp_path, board, STEADY))
    assert (code, data["outcome"], data["verified"], data["losses"]) == (0, "passed", True, [])
    folder = tmp_path / data["folder"]
    assert b"rpm=900.0 sync=full" in (folder / "controller.log").read_bytes()
    assert summary(tmp_path)["board"].startswith(
        "RP2040 board with the id e66138528350ab21, firmware "
    )
    with sqlite3.connect(folder / "run.sqlite") as record:
        states = record.execute("SELECT state, reason, played FROM board ORDER BY tick").fetchall()
        pulses = record.execute("SELECT COUNT(*) FROM pulse").fetchone()[0]
    assert [state for state, _, _ in states[-4:]] == ["armed", "running", "holding", "idle"]
    _, reason, played = states[-1]
    assert reason == "end"
    # The pins also move when they are armed and parked, if their levels differ.
    assert played > 2000
    assert 0 <= len(board.transitions) - played <= 2
    assert pulses > 20


def test_a_sweep_finds_where_sync_drops(
    wired: Callable[..., WiredBoard], edgewheel_at: Callable[..., Any], tmp_path: Path
) -> None:
    """A tooth lasts 500 ms / rpm: a noise filter of 450 us swallows them from 1,111 rpm on."""
    board = wired(CONTROLLER.replace("{line: crank}", "{line: crank, filter_us: 450}"))
    code, data = edgewheel_at(board, "sweep", bench_file(tmp_path, board, STAIRCASE))
    assert code == 1
    assert [data["highest_rpm"], data["dropped_rpm"], data["back_rpm"]] == [900, 1200, 900]
    with sqlite3.connect(tmp_path / data["folder"] / "run.sqlite") as record:
        losses = record.execute("SELECT rpm FROM finding WHERE kind = 'lost'").fetchall()
    print(f"sync lost at {losses[0][0]:.0f} rpm")
    assert 1111 < losses[0][0] <= 1200


def start_long_run(folder: Path, bench: str) -> subprocess.Popen[str]:
    """A run of a minute, well under way: the controller has found sync, and the disk has it."""
    process = edgewheel(folder, "run", bench)
    deadline = time.monotonic() + 30
    while synced_reports(folder) < 3:
        assert time.monotonic() < deadline and process.poll() is None, process.communicate()[1]
        time.sleep(0.05)
    return process


def synced_reports(folder: Path) -> int:
    """How many reports of sync the record has."""
    found = 0
    for path in folder.glob("runs/*/run.sqlite"):
        with suppress(sqlite3.OperationalError), sqlite3.connect(path) as record:
            query = "SELECT COUNT(*) FROM report WHERE text LIKE '%sync=full%'"
            found += record.execute(query).fetchone()[0]
    return found


def summary(folder: Path) -> dict[str, Any]:
    (path,) = folder.glob("runs/*/summary.json")
    return json.loads(path.read_text(encoding="utf-8"))


def wait(board: WiredBoard, since: int, milliseconds: int) -> None:
    """Until so much of the board's time has passed since a tick."""
    deadline = time.monotonic() + 60
    while board.tick - since < milliseconds * MS:
        assert time.monotonic() < deadline
        time.sleep(0.02)


def status(url: str) -> Status:
    """What the board says to a host that comes anew."""
    port = SerialPort(url)
    enquiry = Enquiry(port, WallClock())
    assert enquiry.hello(4 * SECOND)
    found = enquiry.poll(SECOND)
    port.close()
    assert found is not None
    return found


def held_then_idle(board: WiredBoard, since: int, held_ms: int) -> None:
    """Nothing moved later than so long after a tick, but for the parking 1 s after that."""
    late = [tick for tick, _ in board.transitions if tick - since > held_ms * MS]
    found = status(board.url)
    held = found.start_tick + found.last_tick
    to_hold, to_idle = (held - since) / MS, (found.park_tick - held) / MS
    print(f"held {to_hold:.0f} ms later, idle {to_idle:.0f} ms after that")
    assert found.state == State.FAULTED
    assert -CLOCKS_APART_MS - 5 < to_hold <= held_ms
    assert 0 < to_idle < 1_050
    assert late in ([], [pytest.approx(found.park_tick, abs=CLOCKS_APART_MS * MS)])


def test_a_killed_host_leaves_held_then_idle_pins_and_no_summary(
    wired: Callable[..., WiredBoard], tmp_path: Path
) -> None:
    board = wired(quantum_us=COARSE_US)
    process = start_long_run(tmp_path, bench_file(tmp_path, board, LONG))
    process.kill()
    killed = board.tick
    process.communicate()
    wait(board, killed, 1_400)
    held_then_idle(board, killed, 100)
    assert status(board.url).reason == Reason.LINK_DROPPED
    assert not list(tmp_path.glob("runs/*/summary.json"))
    (folder,) = tmp_path.glob("runs/*")
    with sqlite3.connect(folder / "run.sqlite") as record:
        states = [state for (state,) in record.execute("SELECT state FROM board ORDER BY tick")]
        reports = record.execute("SELECT COUNT(*) FROM report").fetchone()[0]
    assert states[-1] == "running"
    assert reports >= 3


def test_a_cut_cable_is_a_lost_bench_and_the_board_stops_by_itself(
    wired: Callable[..., WiredBoard], tmp_path: Path
) -> None:
    board = wired(quantum_us=COARSE_US)
    cable = Cable(board.url)
    bench = bench_file(tmp_path, board, LONG, cable.url)
    process = start_long_run(tmp_path, bench)
    cable.cut()
    cut = board.tick
    _, err = process.communicate(timeout=20)
    wait(board, cut, 2_600)
    assert process.returncode == 3
    assert "has said nothing for 1" in err
    held_then_idle(board, cut, 1_300)
    assert status(board.url).reason == Reason.HOST_SILENT
    assert summary(tmp_path)["outcome"] == "error"
    assert "has said nothing for 1" in summary(tmp_path)["detail"]
    cable.close()


def test_a_board_that_resets_is_a_lost_bench_and_its_pins_are_released(
    wired: Callable[..., WiredBoard], tmp_path: Path
) -> None:
    board = wired(quantum_us=COARSE_US)
    process = start_long_run(tmp_path, bench_file(tmp_path, board, LONG))
    board.crash()
    crashed = board.tick
    _, err = process.communicate(timeout=20)
    assert process.returncode == 3
    assert "is gone" in err
    assert summary(tmp_path)["outcome"] == "error"
    assert "is gone" in summary(tmp_path)["detail"]
    found = status(board.url)
    assert (found.state, found.reason, found.run) == (State.IDLE, Reason.NONE, 0)
    last, mask = board.transitions[-1]
    assert mask == 0
    print(f"pins released {(last - crashed) / MS:.0f} ms after the crash")
    assert last - crashed < 1_100 * MS
