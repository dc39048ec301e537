"""The output stage: simulated by rail and pull-up, measured by board, or as the bench file says."""

import json
from dataclasses import replace
from fractions import Fraction

import pytest

from edgewheel import yamlfile
from edgewheel.bench.events import Began
from edgewheel.bench.live.faults import FaultWish
from edgewheel.bench.live.run import LiveRun
from edgewheel.bench.loader import load_plan
from edgewheel.bench.measured_stage import stage_words, with_measured_stage
from edgewheel.bench.runner import Runner
from edgewheel.bench.stages import read_stage
from edgewheel.board.doctor_wires import measured_stages
from edgewheel.board.loopback import Delay, Loop
from edgewheel.board.stage_store import KnownStage, StageStore
from edgewheel.errors import FileError
from edgewheel.link.welcome import RP2040, SIMULATED, Welcome
from edgewheel.wheel.model import Sensor
from live_bench import Playing

BOARD = Welcome(1, 1, RP2040, b"frostfan", 125_000_000, outputs=8)
BENCH = """\
format: 1
name: One stage
wheel: 60-minus-2-half-moon-cam
controller: {kind: serial, port: /dev/none}
signals: {sync: {field: sync, synced: [full]}}
"""
MEASURED = KnownStage(True, Fraction(5, 2), Fraction(1, 8), "measured on a Monday, 12 V")


def stage(text):
    return read_stage(yamlfile.parse(text, "bench.yaml"), ("crank", "cam"), (Sensor(), Sensor()))


def plan_of(folder, text=""):
    path = folder / "bench.yaml"
    path.write_text(BENCH + text, encoding="utf-8")
    return load_plan(path)


def test_a_rail_and_a_pull_up_stand_for_simulated_delays():
    crank, cam = stage(
        "crank: {rail: 12, pull_up: 1000}\ncam: {rail: 5, pull_up: 4700, rise_us: 9}"
    )
    assert crank.inverts and crank.rise_us > crank.fall_us > 0
    assert crank.origin == "simulated, 12 V through 1000 ohm"
    assert cam.rise_us == 9


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("crank: {rail: 9, pull_up: 1000}", "Write 5 or 8 or 12"),
        ("crank: {rail: 12, pull_up: 7}", "Write 1000 or 4700"),
        ("crank: {rail: 12}", "'pull_up' is missing"),
    ],
)
def test_a_stage_that_nobody_simulated(text, words):
    with pytest.raises(FileError, match=words):
        stage(text)


def test_measured_stages_serve_their_board_unless_the_bench_file_says_otherwise(tmp_path):
    store = StageStore(tmp_path / "stages")
    store.keep(b"frostfan", {0: MEASURED})
    store.keep(b"frostfan", {1: replace(MEASURED, inverts=False)})
    silent, spoken = plan_of(tmp_path), plan_of(tmp_path, "stage: {crank: {rise_us: 4}}\n")
    found = with_measured_stage(silent, BOARD, store)
    assert found.output_stage(1_000_000).inverts == (True, False)
    assert found.output_stage(8_000_000).rise_ticks == (20, 20)
    assert stage_words(found)["crank"] == (
        "measured on a Monday, 12 V: a rise takes 2.5 us, a fall 0.125 us, inverted"
    )
    assert with_measured_stage(spoken, BOARD, store).stage[0].rise_us == 4
    assert with_measured_stage(spoken, BOARD, store).stage[1].rise_us == Fraction(5, 2)
    for other in (replace(BOARD, unique_id=b"another!"), replace(BOARD, board=SIMULATED)):
        assert with_measured_stage(silent, other, store) == silent
    assert stage_words(silent)["cam"] == "none known: wires"


def test_a_live_run_and_a_run_record_the_stage_alike(tmp_path, monkeypatch):
    """A live run with a real board's welcome, so that the stages kept for it serve."""
    monkeypatch.setattr(StageStore, "find", lambda _store, _board: {0: MEASURED})
    playing = Playing(tmp_path, 1000, "stage: {cam: {rise_us: 4}}")
    live = LiveRun(playing.plan, playing.link, BOARD, tmp_path / "live", 0, FaultWish())
    live.close()
    recorded = json.loads((live.record.folder / "summary.json").read_text())["stage"]
    assert recorded == {
        "crank": "measured on a Monday, 12 V: a rise takes 2.5 us, a fall 0.125 us, inverted",
        "cam": "the bench file: a rise takes 4 us, a fall 0 us",
    }
    playing.play(0.1)
    playing.park()
    of_live = json.loads((playing.run.record.folder / "summary.json").read_text())["stage"]
    runner = Runner(playing.plan, tmp_path / "runs")
    for event in runner.events():
        if isinstance(event, Began):
            runner.rig.abort()
    assert json.loads((runner.folder / "summary.json").read_text())["stage"] == of_live
    assert of_live["crank"] == "none known: wires"


def test_a_broken_store_says_where(tmp_path):
    store = StageStore(tmp_path)
    store.file(b"frostfan").write_text("format: 1\noutputs: {1: {inverts: maybe}}\n")
    with pytest.raises(FileError, match=b"frostfan".hex()):
        store.find(b"frostfan")


def test_a_rise_of_the_line_is_a_fall_of_the_pin_where_the_stage_inverts():
    rise, fall = Delay(1e-6, 0, 0), Delay(4e-6, 0, 0)
    (found,) = measured_stages([Loop(2, 5, True, rise, fall, 0, 0)], "now").values()
    assert (found.inverts, found.rise_us, found.fall_us) == (True, 4, 1)
