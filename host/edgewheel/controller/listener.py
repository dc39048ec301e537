"""A controller on a port or a bus, listened to by a thread of its own.

What comes is stamped on arrival, read at once, and waits until it is taken; what the reader wants
sent is sent from the same thread, so that an answer in several frames finds its flow control in
time.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic

from edgewheel.clock import Clock
from edgewheel.controller.lines import Report
from edgewheel.controller.reader import Both, Piece, Reader, Wire
from edgewheel.errors import BenchError


@dataclass(frozen=True)
class Arrived:
    """A piece, when it came by the host's clock, and the reports that it completed."""

    ns: int
    piece: Piece
    reports: tuple[Report, ...]


class Listener(Generic[Both]):
    """Open it, take its events as often as you like, close it."""

    def __init__(self, wire: Callable[[], Wire[Both]], reader: Reader[Both], clock: Clock) -> None:
        self._make_wire: Callable[[], Wire[Both]] = wire
        self._reader: Reader[Both] = reader
        self._clock = clock
        self._arrived: queue.SimpleQueue[Arrived] = queue.SimpleQueue()
        self._error: Exception | None = None
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None

    def open(self) -> None:
        """Open the port and begin to listen. Raises BenchError if it cannot be opened."""
        self._wire: Wire[Both] = self._make_wire()
        self._thread = threading.Thread(target=self._run, name="edgewheel-listen", daemon=True)
        self._thread.start()

    def events(self) -> list[Arrived]:
        """What came since the last call. Raises BenchError once the port is gone and all is told.

        A port that goes away is the bench's trouble, never the controller's.
        """
        error = self._error
        arrived = []
        while not self._arrived.empty():
            arrived.append(self._arrived.get())
        if error is not None and not arrived:
            if not isinstance(error, OSError):
                raise RuntimeError("the reader has crashed") from error
            raise BenchError(
                f"The controller's port {self._wire.name} is gone ({error}). Plug it in again, "
                "then start anew."
            )
        return arrived

    def tally(self) -> dict[str, int]:
        """The reader's counts so far."""
        return self._reader.tally()

    def close(self) -> None:
        """End the thread and close the port."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                self._turn()
        except Exception as error:
            self._error = error
        finally:
            self._wire.close()

    def _turn(self) -> None:
        for piece in self._reader.due(self._clock.now_ns()):
            self._wire.write(piece)
        for piece in self._wire.read():
            now_ns = self._clock.now_ns()
            self._arrived.put(Arrived(now_ns, piece, tuple(self._reader.feed(piece, now_ns))))
