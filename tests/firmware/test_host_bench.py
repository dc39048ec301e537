"""`edgewheel run` and `sweep` on the real image in the emulator, the simulated controller on its pins; in real time."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from edgewheel.controller.sim import read_settings
from edgewheel.yamlfile import parse

from firmware.kit.wired import WiredBoard

pytestmark = pytest.mark.slow

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

STEADY = "motion: {segments: [{ramp: 900, seconds: 0.3}, {hold: 900, seconds: SECONDS}]}\n"
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


def bench_file(folder: Path, board: WiredBoard, rest: str) -> str:
    text = BENCH.replace("BOARD", board.url).replace("CONTROLLER", board.controller_url)
    (folder / "bench.yaml").write_text(text + rest, encoding="utf-8")
    return "bench.yaml"


def test_a_run_passes_and_is_verified(wired: Callable[..., WiredBoard], tmp_path: Path) -> None:
    bench = bench_file(tmp_path, wired(), STEADY.replace("SECONDS", "1.2"))
    out, err = edgewheel(tmp_path, "run", bench, "--json").communicate(timeout=60)
    data = json.loads(out)
    assert (data["outcome"], data["verified"], data["losses"]) == ("passed", True, []), err
    folder = tmp_path / data["folder"]
    assert b"rpm=900.0 sync=full" in (folder / "controller.log").read_bytes()
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert summary["board"].startswith("RP2040 board with the id e66138528350ab21, firmware ")
    with sqlite3.connect(folder / "run.sqlite") as record:
        states = [state for (state,) in record.execute("SELECT state FROM board ORDER BY tick")]
        pulses = record.execute("SELECT COUNT(*) FROM pulse").fetchone()[0]
    assert states[-4:] == ["armed", "running", "holding", "idle"]
    assert pulses > 20
