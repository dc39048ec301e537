"""A live bench under load: a board that captures 5,000 edges a second, in a process of its own."""

import json
import os
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.live.bench import LiveBench
from edgewheel.bench.live.state import LivePhase
from edgewheel.bench.loader import load_plan

RPM = Fraction(5000 * 60, 116)
"""At this speed 58 teeth make 5,000 edges a second."""

BENCH = """\
format: 1
name: Load
wheel: 60-minus-2
board: {board}
controller: {{kind: serial, port: {controller}, baud: 115200}}
"""

BOARD = """
import json, os, sys
from pty_bench import Loopback, PtyBench

class Wire(Loopback):
    def __init__(self):
        super().__init__()
        self.ticks = []

    def exchange(self, transitions, until_tick):
        pulses = super().exchange(transitions, until_tick)
        self.ticks.extend(pulse.tick for pulse in pulses)
        return pulses

wire = Wire()
_, silent = os.openpty()
with PtyBench(wire) as bench:
    print(json.dumps([bench.path, os.ttyname(silent)]), flush=True)
    sys.stdin.read()
    park_tick = bench.board._run.park_tick
print(json.dumps([park_tick, sum(tick <= park_tick for tick in wire.ticks)]))
"""


@contextmanager
def loaded(folder):
    """A live bench that turns, and a function that ends the board and says the tick at which it
    has parked and how many edges had come by then.
    """
    tests = Path(__file__).parent
    command = [sys.executable, "-c", BOARD]
    board = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=tests
    )
    ports = dict(zip(("board", "controller"), json.loads(board.stdout.readline()), strict=True))
    file = folder / "load.yaml"
    file.write_text(BENCH.format(**ports))
    bench = LiveBench(load_plan(file), folder / "runs")
    try:
        bench.start(RPM)
        while bench.state.phase is not LivePhase.TURNING:
            time.sleep(0.05)
        yield bench, lambda: json.loads(board.communicate("")[0])
    finally:
        bench.close()
        board.kill()


def thread_seconds():
    """Processor seconds so far, by name of thread."""
    ticks = os.sysconf("SC_CLK_TCK")
    seconds = {}
    for thread in threading.enumerate():
        stat = Path(f"/proc/self/task/{thread.native_id}/stat").read_text()
        user, system = stat.rsplit(")", 1)[1].split()[11:13]
        seconds[thread.name] = (int(user) + int(system)) / ticks
    return seconds


def load(folder, seconds):
    """Play for a time: edges on the wire before it parked, those of them in the record, gaps that
    the bench has noticed, and the share of a core that each thread took.

    What comes after the parking, by the wire's delay, may come when the run is over.
    """
    with loaded(folder) as (bench, sent):
        before, began = thread_seconds(), time.monotonic()
        while time.monotonic() < began + seconds:
            time.sleep(0.1)  # as a console would
            bench.drain()
            assert bench.state.phase is LivePhase.TURNING
        taken_s = time.monotonic() - began
        shares = {name: (s - before[name]) / taken_s for name, s in thread_seconds().items()}
        bench.park()
        while bench.state.phase is not LivePhase.PARKED:
            time.sleep(0.01)
        record = bench.state.folder / "run.sqlite"
        bench.close()
        park_tick, on_wire = sent()
    with sqlite3.connect(record) as database:
        (recorded,) = database.execute(
            "SELECT count(*) FROM pulse WHERE tick <= ?", [park_tick]
        ).fetchone()
        (missing,) = database.execute(
            "SELECT count(*) FROM finding WHERE kind = 'pulses_missing'"
        ).fetchone()
    return on_wire, recorded, missing, shares
