"""Signals that end the console, heard even while the thread that draws is stuck.

A terminal that takes no more holds whoever draws on it up for ever; the engine must not turn on
meanwhile. So the handlers only write to a pipe, and a thread that does nothing else reads it.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable
from types import FrameType
from typing import Any

ENDS = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)


class Signals:
    """From `catch` on, `end` is called with the number of a signal, in a thread of its own."""

    def __init__(self, end: Callable[[int], None]) -> None:
        self._end = end
        self._before: dict[int, Any] = {}
        self._pipe = (-1, -1)

    def catch(self) -> None:
        """Take the signals; in the main thread, after the terminal's own handlers are there."""
        self._pipe = os.pipe()
        threading.Thread(target=self._wait, name="edgewheel-signals", daemon=True).start()
        for number in ENDS:
            self._before[number] = signal.signal(number, self._caught)
        self._before[signal.SIGCONT] = signal.signal(signal.SIGCONT, self._continued)

    def release(self) -> None:
        """Give them back, if they were taken."""
        if not self._before:
            return
        for number, handler in self._before.items():
            signal.signal(number, handler)
        os.close(self._pipe[1])

    def _caught(self, number: int, _: FrameType | None) -> None:
        os.write(self._pipe[1], bytes([number]))

    def _continued(self, number: int, frame: FrameType | None) -> None:
        """A terminal that hangs up sends SIGCONT after SIGHUP; Textual would begin on it anew."""
        resume = self._before[signal.SIGCONT]
        if callable(resume) and sys.stdin.isatty():
            resume(number, frame)

    def _wait(self) -> None:
        read = self._pipe[0]
        while heard := os.read(read, 1):
            self._end(heard[0])
        os.close(read)
