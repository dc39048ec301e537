"""The only importer of time.

Code that waits or stamps takes a :class:`Clock`; the simulated bench runs on a
:class:`VirtualClock`, whose time passes only when it is told to.
"""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """Monotonic time in integer nanoseconds."""

    def now_ns(self) -> int:
        """Nanoseconds since some fixed moment."""

    def sleep_until(self, deadline_ns: int) -> None:
        """Return once `now_ns()` is at least `deadline_ns`."""


class WallClock:
    """The time of the room."""

    def now_ns(self) -> int:
        return time.monotonic_ns()

    def sleep_until(self, deadline_ns: int) -> None:
        left_ns = deadline_ns - time.monotonic_ns()
        if left_ns > 0:
            time.sleep(left_ns / 1e9)


class VirtualClock:
    """Time that passes only by `sleep_until`, so a run takes as long as its computation."""

    def __init__(self, start_ns: int = 0) -> None:
        self._now_ns = start_ns

    def now_ns(self) -> int:
        return self._now_ns

    def sleep_until(self, deadline_ns: int) -> None:
        self._now_ns = max(self._now_ns, deadline_ns)


class PacedClock(VirtualClock):
    """Virtual time that waits for the wall's: never ahead of it, behind it while there is much to
    do.

    What was missed is caught up with, step by step, up to `MOST_BEHIND_NS`; a longer stall of the
    host is let go of, as if it had not been.
    """

    MOST_BEHIND_NS = 500_000_000

    def __init__(self) -> None:
        super().__init__()
        self._begun_ns = time.monotonic_ns()
        self._woken = threading.Event()

    def sleep_until(self, deadline_ns: int) -> None:
        """Return when the wall shows the deadline, or at an earlier moment if somebody wakes it."""
        left_ns = deadline_ns - self._wall_ns()
        if left_ns < -self.MOST_BEHIND_NS:
            self._begun_ns -= left_ns + self.MOST_BEHIND_NS
        elif left_ns > 0 and self._woken.wait(left_ns / 1e9):
            deadline_ns = min(deadline_ns, self._wall_ns())
        self._woken.clear()
        super().sleep_until(deadline_ns)

    def wake(self) -> None:
        """End the sleep that is going on, or the next one; from any thread."""
        self._woken.set()

    def _wall_ns(self) -> int:
        return time.monotonic_ns() - self._begun_ns


KNOWN_SHARE = 0.02
"""From this share of some work on, the time left can be told."""


def time_left(elapsed_s: float, done: float, before: float = 0.0) -> str:
    """How long work will still take, in words; empty while too little of it is done to tell.

    `done` is the share that is done, of which `before` was done before the time began.
    """
    if done - before < KNOWN_SHARE:
        return ""
    return f"{clock_text(elapsed_s * (1 - done) / (done - before))} left"


def clock_text(seconds: float) -> str:
    """Minutes and seconds."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}"


def utc_stamp() -> str:
    """The date and time now, for the name of a folder: 20260131T094500Z."""
    return datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
