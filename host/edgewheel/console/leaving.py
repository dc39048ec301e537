"""Benches that were left: each parks and lets go of its ports in a thread, for that takes a moment,
or a second on a board that does not answer.
"""

from __future__ import annotations

import threading
from collections import deque
from typing import Protocol

from edgewheel.errors import EdgewheelError


class Left(Protocol):
    """A bench that nobody gives orders to any more; see `edgewheel.console.desk.LivePlayer`."""

    @property
    def crash(self) -> Exception | None:
        """The mistake of ours that ended its thread, if one did."""

    @property
    def trouble(self) -> EdgewheelError | None:
        """What failed as it was closed, if anything did."""

    def close(self) -> None:
        """Park and let go of everything."""


class Leaving:
    """What was left and is not closed yet. Only `wait` waits."""

    def __init__(self) -> None:
        self._threads: list[threading.Thread] = []
        self._trouble: deque[EdgewheelError] = deque()
        self.crash: Exception | None = None
        """The first mistake of ours in a bench that was left."""

    def begin(self, bench: Left) -> None:
        """Close a bench."""
        thread = threading.Thread(
            target=self._close, args=(bench,), name="edgewheel-leaving", daemon=True
        )
        thread.start()
        # Only what has begun stands there: a search's thread may wait for it at any time.
        self._threads = [*(one for one in self._threads if one.is_alive()), thread]

    def _close(self, bench: Left) -> None:
        try:
            bench.close()
        except Exception as error:
            self.crash = self.crash or error
        self.crash = self.crash or bench.crash
        if bench.trouble is not None:
            self._trouble.append(bench.trouble)

    def take_trouble(self) -> list[EdgewheelError]:
        """What failed in benches that are closed, each told once."""
        return [self._trouble.popleft() for _ in range(len(self._trouble))]

    @property
    def over(self) -> bool:
        """Whether board and controller are free for whoever comes next."""
        return not any(thread.is_alive() for thread in self._threads)

    def wait(self) -> None:
        """Until they are free."""
        for thread in self._threads:
            thread.join()
