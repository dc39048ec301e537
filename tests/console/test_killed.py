"""The console in a terminal of its own, ended in every way there is: the board parks each time."""

import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
import threading
import time
from contextlib import contextmanager
from fcntl import ioctl

import pytest

from board_at_port import board_at_port
from edgewheel.link.messages import State

pytestmark = pytest.mark.realtime

F5 = b"\x1b[15~"
F8 = b"\x1b[19~"
ALTERNATE_SCREEN_OFF = "\x1b[?1049l"


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
        env={**os.environ, "TERM": "xterm-256color", "XDG_CONFIG_HOME": str(folder)},
        preexec_fn=lambda: ioctl(0, termios.TIOCSCTTY, 0),
    )
    os.close(terminal)
    person = Person(person)
    try:
        wait_for(lambda: b"PARK" in person.seen)
        yield process, person
    finally:
        process.kill()
        process.wait(10)
        person.leave()


class Person:
    """Reads what is drawn, for a terminal that nobody reads would hold the console up."""

    def __init__(self, terminal):
        self.seen = bytearray()
        self._terminal = terminal
        self._gone = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def press(self, key):
        os.write(self._terminal, key)

    def leave(self):
        """Close the terminal."""
        self._gone.set()
        self._thread.join()

    def _read(self):
        while not self._gone.is_set():
            if select.select([self._terminal], [], [], 0.05)[0]:
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


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_signal_parks_the_board_at_once_and_is_the_exit_code(number, tmp_path):
    with turning_console(tmp_path) as (board, process, _):
        process.send_signal(number)
        assert process.wait(10) == 128 + number
        wait_for(lambda: board._run.state == State.IDLE, 2)
        assert list(tmp_path.glob("runs/*/summary.json"))


def test_a_terminal_that_is_closed_parks_the_board(tmp_path):
    with turning_console(tmp_path) as (board, process, person):
        person.leave()
        assert process.wait(10) == 128 + signal.SIGHUP
        wait_for(lambda: board._run.state == State.IDLE, 2)


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


@pytest.mark.parametrize(
    ("planted", "most_lines"),
    [(IN_THE_BENCH.format(error="ZeroDivisionError"), 40), (ON_THE_SCREEN, None)],
)
def test_a_mistake_of_ours_parks_the_board_and_its_sentence_is_the_last(
    planted, most_lines, tmp_path
):
    with turning_console(tmp_path, planted) as (board, process, person):
        assert process.wait(20) == 5
        wait_for(lambda: board._run.state == State.IDLE, 2)
        wait_for(lambda: person.seen.rstrip().endswith(b"please report it"), 2)
        told = person.seen.decode().rpartition(ALTERNATE_SCREEN_OFF)[2].strip().splitlines()
        assert told[-1] == "edgewheel: this is a mistake in edgewheel itself, please report it"
        assert any("ZeroDivisionError" in line and "planted" in line for line in told)
        assert most_lines is None or len(told) < most_lines


def test_a_lost_bench_ends_nothing(tmp_path):
    with turning_console(tmp_path, IN_THE_BENCH.format(error="BenchError")) as (_, process, person):
        wait_for(lambda: b"BOARD LOST" in person.seen)
        process.send_signal(signal.SIGTERM)
        assert process.wait(10) == 128 + signal.SIGTERM
        assert b"mistake" not in person.seen
