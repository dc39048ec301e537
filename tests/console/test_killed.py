"""The console in a terminal of its own, ended in every way there is: the board parks each time."""

import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import threading
import time
from contextlib import contextmanager, suppress
from fcntl import ioctl
from pathlib import Path

import pytest

from board_at_port import board_at_port
from edgewheel.console.desk import FIRST
from edgewheel.link.messages import State

pytestmark = pytest.mark.realtime

F5 = b"\x1b[15~"
F8 = b"\x1b[19~"
ALTERNATE_SCREEN_OFF = "\x1b[?1049l"
MODES = re.compile(r"\x1b\[\?\d+[hl]")


@contextmanager
def console(bench, folder, planted=""):
    """Yields the process and the end of its terminal that a person would sit at.

    `planted` is run in the process before the console is.
    """
    person, terminal = pty.openpty()
    ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    process = subprocess.Popen(
        [
            sys.executable,
            "-X",
            "faulthandler",
            "-c",
            f"{planted}\nimport sys\nfrom edgewheel.cli.main import main\nsys.exit(main())",
            "console",
            bench,
            "--runs",
            folder / "runs",
        ],
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        start_new_session=True,
        env={
            **os.environ,
            "TERM": "xterm-256color",
            "XDG_CONFIG_HOME": str(folder),
            "XDG_STATE_HOME": str(folder),
        },
        preexec_fn=lambda: ioctl(0, termios.TIOCSCTTY, 0),
    )
    person = Person(person, os.ttyname(terminal))
    os.close(terminal)
    try:
        wait_for(lambda: b"PARK" in person.seen)
        yield process, person
    finally:
        process.kill()
        process.wait(10)
        person.leave()


class Person:
    """Reads what is drawn, until told not to: a terminal that nobody reads holds the console up."""

    def __init__(self, terminal, name):
        self.seen = bytearray()
        self._terminal, self._name = terminal, name
        self._reads = True
        self._gone = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def press(self, key):
        os.write(self._terminal, key)

    def read_no_more(self):
        """As on a line that has broken down without a word: soon nothing more goes into it."""
        self._reads = False
        filling = os.open(self._name, os.O_WRONLY | os.O_NONBLOCK | os.O_NOCTTY)
        with suppress(BlockingIOError):
            while True:
                os.write(filling, bytes(4096))
        os.close(filling)

    def leave(self):
        """Close the terminal."""
        self._gone.set()
        self._thread.join()

    def _read(self):
        while not self._gone.is_set():
            if not self._reads:
                self._gone.wait(0.05)
            elif select.select([self._terminal], [], [], 0.05)[0]:
                try:
                    self.seen += os.read(self._terminal, 65536)
                except OSError:
                    break
        os.close(self._terminal)


def wait_for(true, seconds=15):
    """Until something holds, or it never will."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.01)


IN_THE_BENCH = """
from edgewheel.bench.live.watch import Watch
from edgewheel.errors import BenchError
def look(self, leg, seconds):
    if seconds is not None and seconds > 0.5:
        raise {error}("planted")
Watch.look = look
"""
ON_THE_SCREEN = """
from edgewheel.console import status
right = status.faults
def faults(view):
    if view.state.seconds > 0.5:
        raise ZeroDivisionError("planted")
    return right(view)
status.faults = faults
"""


def turning(board):
    return board._run.state == State.RUNNING


@contextmanager
def turning_console(folder, planted=""):
    """A console whose engine turns on a board at a port; the board is in its `with` value."""
    with (
        board_at_port(folder) as (board, bench),
        console(bench, folder, planted) as (
            process,
            person,
        ),
    ):
        person.press(F5)
        wait_for(lambda: turning(board))
        yield board, process, person


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_parks_the_board_at_once_and_is_the_exit_code(number, tmp_path):
    with turning_console(tmp_path) as (board, process, _):
        process.send_signal(number)
        assert process.wait(10) == 128 + number
        wait_for(lambda: board._run.state == State.IDLE, 2)
        assert list(tmp_path.glob("runs/*/summary.json"))


def test_a_terminal_that_is_closed_parks_the_board(tmp_path):
    """The kernel sends SIGHUP then."""
    with turning_console(tmp_path) as (board, process, person):
        person.leave()
        assert process.wait(10) == 128 + signal.SIGHUP
        wait_for(lambda: board._run.state == State.IDLE, 2)


SHORT = """
from textual.drivers import _writer_thread
from edgewheel.console import app
_writer_thread.MAX_QUEUED_WRITES = 2
app.PATIENCE_NS = 300_000_000
"""


def test_a_terminal_that_takes_no_more_holds_up_the_screen_but_not_the_parking(tmp_path):
    with turning_console(tmp_path, SHORT) as (board, process, person):
        person.read_no_more()
        time.sleep(0.5)
        process.send_signal(signal.SIGTERM)
        wait_for(lambda: board._run.state == State.IDLE, 1)
        assert process.wait(10) == 128 + signal.SIGTERM
        assert list(tmp_path.glob("runs/*/summary.json"))


def test_f8_parks_at_once_and_a_killed_console_leaves_a_board_that_parks_by_itself(tmp_path):
    with turning_console(tmp_path) as (board, process, person):
        began = time.monotonic()
        person.press(F8)
        wait_for(lambda: board._run.state == State.IDLE, 2)
        assert time.monotonic() - began < 0.3
        person.press(F5)
        wait_for(lambda: turning(board))
        process.kill()
        wait_for(lambda: not turning(board), 2)
        wait_for(lambda: board._run.park_tick and board._run.pins == board._run.order.idle, 4)


SENTENCE = re.compile(
    r"edgewheel: this is a mistake in edgewheel itself, please report it: "
    r"ZeroDivisionError: planted \(details in (.+)\)"
)


@pytest.mark.parametrize(
    ("planted", "where"),
    [
        (IN_THE_BENCH.format(error="ZeroDivisionError"), "in look"),
        (ON_THE_SCREEN, "in faults"),
    ],
)
def test_a_mistake_of_ours_parks_the_board_and_is_told_in_one_sentence(planted, where, tmp_path):
    with turning_console(tmp_path, planted) as (board, process, person):
        assert process.wait(20) == 5
        wait_for(lambda: board._run.state == State.IDLE, 2)
        wait_for(lambda: person.seen.rstrip().endswith(b")"), 2)
        told = MODES.sub("", person.seen.decode().rpartition(ALTERNATE_SCREEN_OFF)[2]).strip()
    details = Path(SENTENCE.fullmatch(told)[1]).read_text(encoding="utf-8")
    assert where in details and "ZeroDivisionError: planted" in details
    assert list(tmp_path.glob("runs/*/summary.json"))


def test_a_file_that_cannot_be_used_ends_it_with_its_sentence(tmp_path):
    with console(tmp_path / "none.yaml", tmp_path) as (process, person):
        assert process.wait(10) == 2
        wait_for(lambda: person.seen.rstrip().endswith(b"."), 2)
        told = MODES.sub("", person.seen.decode().rpartition(ALTERNATE_SCREEN_OFF)[2]).strip()
    assert told.startswith("edgewheel: ") and "none.yaml" in told


def test_a_console_that_was_stopped_draws_its_page_whole_when_it_goes_on(tmp_path):
    with console(FIRST, tmp_path) as (process, person):
        wait_for(lambda: b"bounce" in person.seen)
        process.send_signal(signal.SIGTSTP)
        wait_for(lambda: b"T (stopped)" in Path(f"/proc/{process.pid}/status").read_bytes())
        before = len(person.seen)
        process.send_signal(signal.SIGCONT)
        wait_for(lambda: all(word in person.seen[before:] for word in (b"F4 Runs", b"PARK")))


def test_a_lost_bench_ends_nothing(tmp_path):
    with turning_console(tmp_path, IN_THE_BENCH.format(error="BenchError")) as (_, process, person):
        wait_for(lambda: b"BOARD LOST" in person.seen)
        process.send_signal(signal.SIGTERM)
        assert process.wait(10) == 128 + signal.SIGTERM
        assert b"mistake" not in person.seen
