"""A board and a controller behind real ports, each with a thread of its own that does its I/O."""

from __future__ import annotations

import queue
import threading
from contextlib import suppress

from edgewheel.bench.links import Heard
from edgewheel.bench.plan import Plan, SerialController
from edgewheel.bench.wired import SerialBytes
from edgewheel.clock import Clock, WallClock
from edgewheel.errors import BenchError, EdgewheelError, UsageError
from edgewheel.link.events import BoardStatus, Connected
from edgewheel.link.events import Event as LinkEvent
from edgewheel.link.hostrun import RunOrder
from edgewheel.link.serial_port import SerialPort
from edgewheel.link.session import SessionSettings
from edgewheel.link.session_thread import (
    Crashed,
    OpenRun,
    OrderRefused,
    SessionThread,
    StopRun,
    ThreadEvent,
)

STEP_S = 0.02
NS_PER_S = 1_000_000_000


class PortListener:
    """Reads a controller's serial port in a thread and stamps what comes on arrival.

    A port that goes away is told once, as an error, when the bytes before it have been taken.
    """

    def __init__(self, port: str, baud: int, clock: Clock) -> None:
        self._port = SerialPort(port, baud)
        self._clock = clock
        self._heard: queue.SimpleQueue[tuple[int, bytes]] = queue.SimpleQueue()
        self._error: OSError | None = None
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="edgewheel-listen", daemon=True)
        self._thread.start()

    def take(self) -> list[tuple[int, bytes]]:
        """(arrival in ns, bytes) since the last call. Raises BenchError once the port is gone."""
        gone = self._error
        heard = []
        while not self._heard.empty():
            heard.append(self._heard.get())
        if gone is not None and not heard:
            raise BenchError(
                f"The controller's port {self._port.name} is gone ({gone}). Plug it in again, "
                "then start anew."
            )
        return heard

    def close(self) -> None:
        """End the thread and close the port."""
        self._closing.set()
        self._thread.join()

    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                data = self._port.read()
                if data:
                    self._heard.put((self._clock.now_ns(), data))
        except OSError as error:
            self._error = error
        finally:
            self._port.close()


class BoardTime:
    """The board's tick at a moment of the host's clock, by the last STATUS."""

    def __init__(self) -> None:
        self.tick_hz = 0
        self._tick = 0
        self._at_ns = 0

    def hear(self, event: ThreadEvent) -> None:
        """Take what tells of the board's clock."""
        if isinstance(event, Connected):
            self.tick_hz = event.welcome.tick_hz
        elif isinstance(event, BoardStatus):
            self._tick, self._at_ns = event.status.tick, event.received_ns

    def tick(self, ns: int) -> int:
        """The tick, as well as the host can know it; 0 before the first STATUS."""
        if not self._at_ns:
            return 0
        return max(self._tick + (ns - self._at_ns) * self.tick_hz // NS_PER_S, 0)


class PortLink:
    """A real board on a port, and a controller that reports on another."""

    def __init__(self, plan: Plan, clock: Clock | None = None) -> None:
        if not isinstance(plan.controller, SerialController):
            raise UsageError(
                "The simulated controller has no pins at a real board. Write 'board: sim', "
                "or 'controller: {kind: serial, port: PORT}' for what is wired to this board."
            )
        self._clock = clock or WallClock()
        self._time = BoardTime()
        self._listener = PortListener(plan.controller.port, plan.controller.baud, self._clock)
        try:
            port = SerialPort(plan.board.port)
        except BenchError:
            self._listener.close()
            raise
        settings = SessionSettings(port=plan.board.port)
        self._thread = SessionThread(port, settings, self._clock)
        self.input_names = tuple(f"in{number}" for number in range(1, 9))
        self.rest_levels = (0,) * len(self.input_names)

    def order(self, order: RunOrder) -> None:
        self._thread.submit(OpenRun(order))

    def park(self) -> None:
        self._thread.submit(StopRun(park=True))

    def step(self) -> Heard:
        events: list[LinkEvent] = []
        with suppress(queue.Empty):
            self._take(self._thread.events.get(timeout=STEP_S), events)
        while not self._thread.events.empty():
            self._take(self._thread.events.get(), events)
        serial: list[SerialBytes] = [
            (self._time.tick(ns), data) for ns, data in self._listener.take()
        ]
        return Heard(tuple(events), tuple(serial), self._time.tick(self._clock.now_ns()))

    def close(self) -> None:
        self._thread.close()
        self._listener.close()

    def _take(self, event: ThreadEvent, events: list[LinkEvent]) -> None:
        self._time.hear(event)
        if isinstance(event, OrderRefused):
            raise event.error
        if isinstance(event, Crashed):
            if isinstance(event.error, EdgewheelError):
                raise event.error
            raise RuntimeError("the link's thread has crashed") from event.error
        events.append(event)
