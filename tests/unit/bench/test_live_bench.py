"""The live bench in real time: how soon orders reach the pins, and what becomes of it when things
break. Times are those of the board's own transitions."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from edgewheel.bench.events import Finished, Pulsed, Reported
from edgewheel.bench.live.bench import LiveBench
from edgewheel.bench.live.run import LiveRun
from edgewheel.bench.live.state import CourseTaken, FaultState, LivePhase, PhaseChanged
from edgewheel.bench.loader import load_plan
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.errors import BenchError, UsageError
from live_bench import HZ, Teller, plan_of
from live_load import load
from pty_bench import PtyBench
from real_time_bench import SETTINGS, real_time

pytestmark = pytest.mark.realtime

SOON_S = 0.2
BOARD = """
import json, sys
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.cli.main import main
from live_bench import Teller
teller = Teller()
ControllerOnPins.exchange = teller.listening(ControllerOnPins.exchange)
main(sys.argv[1:])
print(json.dumps(teller.told(125_000_000)))
"""
SERIAL = """\
format: 1
name: Fan 3 at a port
wheel: 60-minus-2-half-moon-cam
board: {board}
controller: {{kind: serial, port: {controller}, baud: 115200}}
"""


class Scope:
    """What the board's crank line did: seconds of the wall at which teeth begin."""

    def __init__(self, teeth, last):
        self.teeth, self.last = np.array(teeth), last

    def reached(self, after_s, rpm):
        """Seconds from a moment to the first tooth that comes at a speed."""
        period = 1 / rpm  # sixty pitches a turn
        right = np.abs(np.diff(self.teeth) / period - 1) < 0.01
        return float(self.teeth[:-1][right & (self.teeth[1:] > after_s)][0] - after_s)


def until(true, patience_s=5.0):
    end = time.monotonic() + patience_s
    while not true():
        assert time.monotonic() < end, "it did not come in time"
        time.sleep(0.01)


@contextmanager
def live(plan, folder):
    bench = LiveBench(plan, folder / "runs")
    try:
        yield bench
    finally:
        bench.close()
        assert bench.crash is None


def turn_at(bench, rpm):
    bench.start(Fraction(rpm))
    until(lambda: bench.state.phase is LivePhase.TURNING and bench.state.synced)


def orders(bench):
    """Give orders; when each was given: (seconds of the wall, rpm), rpm 0 for the parking."""
    turn_at(bench, 900)
    asked = []
    for rpm in (1500, 800, 5000, 300):
        asked.append((time.monotonic(), rpm))
        bench.speed(Fraction(rpm))
        time.sleep(0.35)
    assert bench.state.set_rpm == 300
    assert bench.state.pin_rpm == pytest.approx(300)
    asked.append((time.monotonic(), 0))
    bench.park()
    until(lambda: bench.state.phase is LivePhase.PARKED)
    taken = [one.after_ms for one in bench.drain() if isinstance(one, CourseTaken)]
    assert len(taken) == 4 and max(taken) < 1000 * SOON_S
    return asked


def check_soon(asked, scope):
    *speeds, (parked_s, _) = asked
    delays = [scope.reached(*one) for one in speeds]
    print(f"speeds on the pins after {', '.join(f'{1000 * one:.0f}' for one in delays)} ms")
    assert max(delays) < SOON_S
    assert scope.last - parked_s < SOON_S


def test_the_simulated_bench_keeps_up(tmp_path, monkeypatch):
    teller = Teller()
    monkeypatch.setattr(ControllerOnPins, "exchange", teller.listening(ControllerOnPins.exchange))
    with live(plan_of(tmp_path), tmp_path) as bench:
        asked = orders(bench)
    check_soon(asked, Scope(*teller.told(HZ)))


def test_a_board_at_a_port_keeps_up(tmp_path):
    """`edgewheel board sim --pty` in a process of its own, which tells at its end what it did."""
    settings = tmp_path / "controller.yaml"
    settings.write_text(SETTINGS.format(report="rate_hz: 50"))
    command = [sys.executable, "-c", BOARD, "board", "sim", "--pty", "--controller", str(settings)]
    board = subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
    )
    ports = dict(board.stdout.readline().split() for _ in range(2))
    file = tmp_path / "port.yaml"
    file.write_text(SERIAL.format(board=ports["board:"], controller=ports["controller:"]))
    try:
        with live(load_plan(file), tmp_path) as bench:
            asked = orders(bench)
    finally:
        board.terminate()
    check_soon(asked, Scope(*json.loads(board.communicate()[0])))


def test_a_day_in_short(tmp_path):
    """Start, a fault that costs sync, park, start anew; the record of each is whole."""
    fault = "faults: {dead: {off: true, kind: lost, track: crank}}"
    with live(plan_of(tmp_path, fault), tmp_path) as bench:
        assert bench.state.phase is LivePhase.CLOSED
        bench.park()
        turn_at(bench, 1000)
        first = bench.state.folder
        bench.fault("dead", FaultState.HELD)
        until(lambda: bench.state.losses == 1)
        state = bench.state
        assert state.active == ("dead",) and state.synced is False
        assert state.last_loss.reason and 0 < state.last_loss.seconds < state.seconds
        assert 0 <= state.crank_deg < 720
        bench.fault("dead", FaultState.OFF)
        until(lambda: bench.state.synced)
        bench.fault("dead", FaultState.ONCE)
        assert bench.state.faults == {"dead": FaultState.ONCE}
        until(lambda: bench.state.faults == {"dead": FaultState.OFF})
        bench.park()
        bench.park()
        until(lambda: bench.state.phase is LivePhase.PARKED)
        assert bench.state.pin_rpm == 0
        events = bench.drain()
        turn_at(bench, 500)
        second = bench.state.folder
    assert bench.state.phase is LivePhase.CLOSED
    assert second != first
    phases = [one.phase for one in events if isinstance(one, PhaseChanged)]
    assert phases[-2:] == [LivePhase.TURNING, LivePhase.PARKED]
    assert [one.aborted for one in events if isinstance(one, Finished)] == [True]
    with sqlite3.connect(first / "run.sqlite") as record:
        count = {t: record.execute(f"SELECT count(*) FROM {t}").fetchone()[0] for t in TABLES}
    assert count["pulse"] == sum(isinstance(one, Pulsed) for one in events)
    assert count["report"] == sum(isinstance(one, Reported) for one in events)
    assert count["edit"] > 50
    assert json.loads((first / "summary.json").read_text())["outcome"] == "failed"
    assert json.loads((second / "summary.json").read_text())["outcome"] == "passed"


TABLES = ("pulse", "report", "edit")


def test_a_lost_board_is_found_again_and_does_not_start_by_itself(tmp_path):
    port = tmp_path / "board"
    file = tmp_path / "port.yaml"
    with real_time("rate_hz: 50") as (_, controller):
        file.write_text(SERIAL.format(board=port, controller=controller))
        with live(load_plan(file), tmp_path) as bench:
            bench.start(Fraction(600))
            until(lambda: bench.state.phase is LivePhase.LOST)
            assert "There is no port" in bench.state.why
            with PtyBench() as board:
                port.symlink_to(board.path)
                until(lambda: bench.state.phase is LivePhase.PARKED)
                bench.start(Fraction(600))
                until(lambda: bench.state.phase is LivePhase.TURNING)
                folder = bench.state.folder
                time.sleep(0.3)
                board.unplug()
                until(lambda: bench.state.phase is LivePhase.LOST)
                port.unlink()
            assert json.loads((folder / "summary.json").read_text())["outcome"] == "error"
            with PtyBench() as board:
                port.symlink_to(board.path)
                until(lambda: bench.state.phase is LivePhase.PARKED)
                time.sleep(0.3)
                assert bench.state.phase is LivePhase.PARKED and bench.state.pin_rpm == 0


HOLDER = """
import sys
from fractions import Fraction
from pathlib import Path
from pathlib import Path
from edgewheel.bench.live.bench import LiveBench
from edgewheel.bench.loader import load_plan
from edgewheel.cli.talk import stoppable
bench = LiveBench(load_plan(Path(sys.argv[1])), Path(sys.argv[2]))
bench.start(Fraction(900))
print("turning", flush=True)
with stoppable(bench.close):
    while bench.state.phase != "closed" or not bench.state.folder:
        pass
"""


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_a_holder_that_is_killed_leaves_the_board_parked(tmp_path, number):
    """The board is ours, the process that holds it is not."""
    file = tmp_path / "port.yaml"
    with real_time("rate_hz: 50") as (_, controller), PtyBench() as board:
        file.write_text(SERIAL.format(board=board.path, controller=controller))
        command = [sys.executable, "-c", HOLDER, str(file), str(tmp_path / "runs")]
        holder = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        run = board.board._run
        until(lambda: run.state.name == "RUNNING" and run.played > 500, 10)
        os.kill(holder.pid, number)
        killed_s = time.monotonic()
        holder.wait()
        until(lambda: run.park_tick and not run.busy)
        assert time.monotonic() - killed_s < 2.5
        assert run.reason.name == ("STOP" if number == signal.SIGTERM else "LINK_DROPPED")
    (folder,) = (tmp_path / "runs").iterdir()
    assert (folder / "summary.json").exists() == (number == signal.SIGTERM)


def test_a_board_that_is_lost_while_it_parks_ends_the_bench_all_the_same(tmp_path, monkeypatch):
    escaped = []
    monkeypatch.setattr(threading, "excepthook", escaped.append)
    with live(plan_of(tmp_path), tmp_path) as bench:
        turn_at(bench, 900)

        def park(run):
            raise BenchError("The board is gone.")

        monkeypatch.setattr(LiveRun, "park", park)
        monkeypatch.setattr(bench, "_order", lambda order: None)  # the thread parks by itself
        bench.close()
        assert bench.state.phase is LivePhase.CLOSED and not escaped
        assert str(bench.trouble) == "The board is gone."
        summary = json.loads((bench.state.folder / "summary.json").read_text(encoding="utf-8"))
    assert summary["outcome"] == "error" and summary["detail"] == "The board is gone."


def test_a_mistake_of_ours_is_heard_of_though_the_disk_fails_after_it(tmp_path, monkeypatch):
    def fail(*_):
        raise BenchError("The disk is full.")

    def mistake(*_):
        raise ZeroDivisionError("planted")

    bench = LiveBench(plan_of(tmp_path), tmp_path / "runs")
    turn_at(bench, 900)
    monkeypatch.setattr(LiveRun, "close", fail)
    monkeypatch.setattr(LiveRun, "take", mistake)
    until(lambda: bench.crash is not None)
    assert isinstance(bench.crash, ZeroDivisionError)
    assert bench.state.phase is LivePhase.LOST and "planted" in bench.state.why
    bench.close()


def test_what_cannot_be_ordered_is_said_at_once(tmp_path):
    with live(plan_of(tmp_path), tmp_path) as bench:
        with pytest.raises(UsageError, match="rate above 0"):
            bench.speed(Fraction(900), Fraction(0))
        with pytest.raises(UsageError, match="Stay within"):
            bench.start(Fraction(-5))
        with pytest.raises(UsageError, match="faults are: none"):
            bench.fault("worn", FaultState.HELD)


def test_nothing_is_lost_at_5000_edges_a_second(tmp_path):
    """A minute of it, and what it takes: `tests/benchmarks/live_5000.py`."""
    on_wire, recorded, missing, shares = load(tmp_path, seconds=2)
    assert on_wire > 9000 and on_wire == recorded and missing == 0
    print(f"{100 * sum(shares.values()):.0f} % of a core")
