"""Benches that were left: each parks and lets go of its ports in a thread, for that takes a moment,
or a second on a board that does not answer.
"""

from __future__ import annotations

import threading
from collections.abc import Callable


class Leaving:
    """What was left and is not closed yet. Only `wait` waits."""

    def __init__(self) -> None:
        self._threads: list[threading.Thread] = []

    def begin(self, close: Callable[[], None]) -> None:
        """Close a bench that nobody gives orders to any more."""
        thread = threading.Thread(target=close, name="edgewheel-leaving", daemon=True)
        self._threads = [*(one for one in self._threads if one.is_alive()), thread]
        thread.start()

    @property
    def over(self) -> bool:
        """Whether board and controller are free for whoever comes next."""
        return not any(thread.is_alive() for thread in self._threads)

    def wait(self) -> None:
        """Until they are free."""
        for thread in self._threads:
            thread.join()
