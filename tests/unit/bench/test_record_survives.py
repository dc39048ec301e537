"""A record that is cut off: what was there a second before is still there."""

import os
import signal
import sqlite3
import subprocess
import sys
import time

import pytest

from edgewheel.search.recorded import RecordedRun

WRITER = """
import sys
from pathlib import Path
from edgewheel.bench.events import Began, Pulsed, RawBytes
from edgewheel.bench.record import Record
from edgewheel.clock import WallClock
clock = WallClock()
record = Record(Path(sys.argv[1]))
record.event(Began(0, 0.0, 1000))
begun = clock.now_ns()
number = 0
while True:
    number += 1
    clock.sleep_until(begun + number * 1_000_000)
    record.event(Pulsed(number, number / 1000, "coil_1", number % 2))
    record.event(RawBytes(number, number / 1000, b"%d\\n" % number))
    print(number, flush=True)
"""


def test_sigkill_costs_at_most_the_last_second(tmp_path):
    """1,000 events a second; killed after more than one commit."""
    process = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(tmp_path / "run")], stdout=subprocess.PIPE, text=True
    )
    last = 0
    deadline = time.monotonic() + 30
    while last < 1500 and time.monotonic() < deadline:
        last = int(process.stdout.readline())
    os.kill(process.pid, signal.SIGKILL)
    last = max(last, *(int(line) for line in process.stdout.read().split() if line), last)
    process.wait()
    with sqlite3.connect(tmp_path / "run" / "run.sqlite") as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        ticks = [tick for (tick,) in database.execute("SELECT tick FROM pulse ORDER BY rowid")]
    assert ticks == list(range(1, len(ticks) + 1))
    assert last - 1000 <= len(ticks) <= last
    raw = (tmp_path / "run" / "controller.log").read_text().split()
    assert len(raw) >= last - 1000


def test_a_stretch_is_found_in_a_long_record(tmp_path):
    from edgewheel.bench.events import Began, Pulsed
    from edgewheel.bench.record import Record

    with Record(tmp_path / "run") as record:
        record.inputs([], {"bench": "none.yaml"})
        record.event(Began(500, 0.0, 1000))
        for k in range(5000):
            record.event(Pulsed(500 + 10 * k, k / 100, ("a", "b")[k % 2], k // 2 % 2))
    run = RecordedRun(tmp_path / "run")
    assert run.pulses_between(10.0, 10.03) == [(10.0, "a", 0), (10.01, "b", 0), (10.02, "a", 1)]
    assert run.pulses_between(-5, 0.01) == [(0.0, "a", 0)]
    assert run.pulses_between(49.99, 99) == [(49.99, "b", 1)]
    assert run.pulses_between(60, 99) == []


def test_runs_that_begin_at_once_have_folders_of_their_own(tmp_path):
    from edgewheel.bench.record import run_folder

    folders = {run_folder(tmp_path / "runs", "Fan 3") for _ in range(3)}
    assert len(folders) == 3
    assert all(folder.is_dir() for folder in folders)


def test_a_copy_that_cannot_be_written_again_is_as_it_was(tmp_path):
    """As a live run's bench file is at every change of course."""
    from edgewheel.bench.record_folder import RecordFolder

    folder = RecordFolder(tmp_path)
    folder.copy_inputs([("bench.yaml", "before")])
    with pytest.raises(UnicodeEncodeError):
        folder.copy_inputs([("bench.yaml", "half of it, then \udc80")])
    assert (tmp_path / "bench.yaml").read_text() == "before"
    assert [file.name for file in tmp_path.iterdir()] == ["bench.yaml"]
