"""What a command says on stderr while it works: a line that is redrawn, or plain lines."""

from __future__ import annotations

import shlex
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

from edgewheel.bench.runlog import PROMPT, append, stamped
from edgewheel.cli.streams import drop
from edgewheel.clock import Clock, WallClock, time_left

REDRAW_NS = 100_000_000
PLAIN_NS = 5_000_000_000
FAST_NS = 1_000_000_000


class Talk:
    """Progress with the time left, as fits where stderr goes."""

    def __init__(self, clock: Clock | None = None) -> None:
        self._clock = clock or WallClock()
        self._terminal = sys.stderr.isatty()
        self._begun_ns = self._clock.now_ns()
        self._due_ns = self._begun_ns
        self._drawn = False
        self._folder: Path | None = None
        self._unwritten: list[str] = []

    def keep(self, folder: Path, typed: Sequence[str] = ()) -> str:
        """From now on, keep every line in the `run.log` of a folder; returns the command as typed.

        The folder may come later: until then lines wait.
        """
        self._folder = folder
        command = shlex.join(typed)
        self._note(f"{PROMPT}{command}")
        return command

    def say(self, text: str) -> None:
        """A line that stays."""
        self._wipe()
        print(text, file=sys.stderr, flush=True)
        self._note(text)

    def answer(self, text: str) -> None:
        """A line of the result, on stdout."""
        self._wipe()
        try:
            print(text, flush=True)
        except BrokenPipeError:
            drop(sys.stdout)
        self._note(text)

    def progress(self, done: float, text: str) -> None:
        """How far the work is, 0 to 1, and a few words."""
        now_ns = self._clock.now_ns()
        if now_ns < self._due_ns:
            return
        elapsed_s = (now_ns - self._begun_ns) / 1e9
        line = f"{max(done, 0):4.0%}  {text}  {time_left(elapsed_s, done)}".rstrip()
        if self._terminal:
            self._due_ns = now_ns + REDRAW_NS
            self._drawn = True
            print(f"\r\x1b[K{line}", end="", file=sys.stderr, flush=True)
        else:
            self._due_ns = now_ns + PLAIN_NS
            if now_ns - self._begun_ns > FAST_NS:
                print(line, file=sys.stderr, flush=True)

    def done(self) -> None:
        """The work is over."""
        self._wipe()

    def _note(self, text: str) -> None:
        """Keep lines with the UTC time, as soon as there is a folder."""
        self._unwritten += stamped(text)
        if self._folder is None or not self._folder.is_dir():
            return
        if append(self._folder, self._unwritten):
            self._unwritten.clear()

    def _wipe(self) -> None:
        if self._drawn:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
            self._drawn = False


@contextmanager
def stoppable(stop: Callable[[], None]) -> Iterator[None]:
    """The first Ctrl-C, SIGTERM or SIGHUP calls `stop`; the second one ends the program at once."""
    names = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = {name: signal.getsignal(name) for name in names}

    def first(number: int, _: FrameType | None) -> None:
        for name in names:
            signal.signal(name, signal.SIG_DFL)
        print("\nedgewheel: parking the outputs; once more to leave at once", file=sys.stderr)
        stop()

    for name in names:
        signal.signal(name, first)
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(name, handler)
