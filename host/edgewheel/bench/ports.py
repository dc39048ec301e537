"""A board and a controller behind real ports, each with a thread of its own that does its I/O."""

from __future__ import annotations

import queue
from contextlib import suppress
from dataclasses import asdict

from edgewheel.bench.links import Heard, Said
from edgewheel.bench.plan import CanController, Plan, SerialController, SimulatedController
from edgewheel.bench.timeline import Timeline
from edgewheel.clock import Clock, WallClock
from edgewheel.controller.can_port import CanPort
from edgewheel.controller.listener import Arrived, Listener
from edgewheel.controller.reader import CanFrame
from edgewheel.controller.serial_wire import SerialWire
from edgewheel.errors import BenchError, EdgewheelError, UsageError
from edgewheel.link.events import BoardStatus, Connected
from edgewheel.link.events import Event as LinkEvent
from edgewheel.link.hostrun import NewCourse, RunOrder
from edgewheel.link.serial_port import SerialPort
from edgewheel.link.session import SessionSettings
from edgewheel.link.session_thread import (
    ChangeCourse,
    Crashed,
    OpenRun,
    OrderRefused,
    SessionThread,
    StopRun,
    ThreadEvent,
)

STEP_S = 0.02


class PortLink:
    """A real board on a port, and a controller that reports on another."""

    def __init__(self, plan: Plan, clock: Clock | None = None) -> None:
        if isinstance(plan.controller, SimulatedController):
            raise UsageError(
                "The simulated controller has no pins at a real board. Write 'board: sim', "
                "or 'controller: {kind: serial, port: PORT}' for what is wired to this board."
            )
        self._clock = clock or WallClock()
        self._time: Timeline | None = None
        self._listener = listener_to(plan.controller, self._clock)
        self._listener.open()
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

    def change(self, make: NewCourse) -> None:
        self._thread.submit(ChangeCourse(make))

    def park(self) -> None:
        self._thread.submit(StopRun(park=True))

    def now(self) -> int:
        return self._tick(self._clock.now_ns())

    def step(self) -> Heard:
        events: list[LinkEvent] = []
        with suppress(queue.Empty):
            self._take(self._thread.events.get(timeout=STEP_S), events)
        while not self._thread.events.empty():
            self._take(self._thread.events.get(), events)
        said = tuple(self._placed(arrived) for arrived in self._listener.events())
        return Heard(tuple(events), said, self.now(), deaf=self._listener.away)

    def tally(self) -> dict[str, int]:
        return self._listener.tally()

    def clock(self) -> dict[str, float]:
        return asdict(self._time.fit) if self._time else {}

    def close(self) -> None:
        self._thread.close()
        self._listener.close()

    def _take(self, event: ThreadEvent, events: list[LinkEvent]) -> None:
        if isinstance(event, Connected):
            self._time = Timeline(event.welcome.tick_hz)
        elif isinstance(event, BoardStatus) and self._time and event.asked_ns is not None:
            self._time.round_trip(event.asked_ns, event.status.tick, event.received_ns)
        if isinstance(event, OrderRefused):
            raise event.error
        if isinstance(event, Crashed):
            if isinstance(event.error, EdgewheelError):
                raise event.error
            raise RuntimeError("the link's thread has crashed") from event.error
        events.append(event)

    def _placed(self, arrived: Arrived) -> Said:
        """Words of the controller on the board's time line."""
        uncertainty = self._time.uncertainty_ticks() if self._time else 0
        return Said(self._tick(arrived.ns), arrived.piece, arrived.reports, uncertainty)

    def _tick(self, ns: int) -> int:
        return self._time.tick(ns) if self._time else 0


def listener_to(
    controller: SerialController | CanController, clock: Clock
) -> Listener[bytes] | Listener[CanFrame]:
    """A listener, not open yet. Raises UsageError where a library is missing."""
    if isinstance(controller, SerialController):
        port, baud = controller.port, controller.baud
        return Listener(lambda: SerialWire(port, baud), controller.listening.reader(), clock)
    interface, channel, bitrate = controller.interface, controller.channel, controller.bitrate
    reader = controller.listening.reader()
    return Listener(lambda: CanPort(interface, channel, bitrate), reader, clock)
