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


@contextmanager
def console(bench, folder):
    """Yields the process and the end of its terminal that a person would sit at."""
    person, terminal = pty.openpty()
    ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    process = subprocess.Popen(
        [
            sys.executable,
            "-X",
            "faulthandler",
            "-m",
            "edgewheel",
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


def turning(board):
    return board._run.state == State.RUNNING


@contextmanager
def turning_console(folder):
    """A console whose engine turns on a board at a port; the board is in its `with` value."""
    with board_at_port(folder) as (board, bench), console(bench, folder) as (process, person):
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
