"""A controller on a port or a bus, listened to by a thread of its own.

What comes is stamped on arrival, read at once, and waits until it is taken; what the reader wants
sent is sent from the same thread, so that an answer in several frames finds its flow control in
time. A port that goes away is looked for again for some seconds, since a controller that restarts
takes its USB port with it.
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

REOPEN_S, LOOK_S = 5.0, 0.05
"""How long a port that is gone is looked for, and how often."""

PORT_CAME_BACK = "port_came_back"


@dataclass(frozen=True)
class Arrived:
    """A piece, when it came by the host's clock, and the reports that it completed."""

    ns: int
    piece: Piece
    reports: tuple[Report, ...]


class Listener(Generic[Both]):
    """Open it, take its events as often as you like, close it."""

    def __init__(
        self,
        wire: Callable[[], Wire[Both]],
        reader: Reader[Both],
        clock: Clock,
        reopen_s: float = REOPEN_S,
    ) -> None:
        self._make_wire: Callable[[], Wire[Both]] = wire
        self._reader: Reader[Both] = reader
        self._clock = clock
        self._arrived: queue.SimpleQueue[Arrived] = queue.SimpleQueue()
        self._error: Exception | None = None
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None
        self._reopen_s = reopen_s
        self._came_back = 0
        self.away = False
        """Whether the port is gone at this moment and is looked for."""

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
        counts = self._reader.tally()
        return counts | {PORT_CAME_BACK: self._came_back} if self._came_back else counts

    def close(self) -> None:
        """End the thread and close the port."""
        self._closing.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                try:
                    self._turn()
                except OSError as error:
                    self._look_for_it(error)
        except Exception as error:
            self._error = error
        finally:
            self._wire.close()

    def _look_for_it(self, gone: OSError) -> None:
        """Open the port again as soon as it is back. Raises what took it away if it stays away."""
        self.away = True
        self._wire.close()
        until_ns = self._clock.now_ns() + round(self._reopen_s * 1e9)
        while self._clock.now_ns() < until_ns and not self._closing.wait(LOOK_S):
            try:
                self._wire = self._make_wire()
            except (OSError, BenchError):
                continue
            self._reader.broken()
            self._came_back += 1
            self.away = False
            return
        raise gone

    def _turn(self) -> None:
        for piece in self._reader.due(self._clock.now_ns()):
            self._wire.write(piece)
        for piece in self._wire.read():
            now_ns = self._clock.now_ns()
            self._arrived.put(Arrived(now_ns, piece, tuple(self._reader.feed(piece, now_ns))))
