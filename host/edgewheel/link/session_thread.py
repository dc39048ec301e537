"""A session on a real port: one thread does all I/O; frozen orders go in, frozen events out."""

from __future__ import annotations

import queue
import threading
from contextlib import suppress
from dataclasses import dataclass

from edgewheel.clock import Clock, WallClock
from edgewheel.errors import BenchError, UsageError
from edgewheel.link.events import Event, LinkFailed
from edgewheel.link.hostrun import NewCourse, RunOrder
from edgewheel.link.session import Phase, Session, SessionSettings
from edgewheel.link.transport import Transport

_LEAVE_NS = 200_000_000  # how long a closing thread waits for the board to park


@dataclass(frozen=True)
class OpenRun:
    """Order: open this run."""

    order: RunOrder

    def apply(self, session: Session) -> None:
        session.open_run(self.order)


@dataclass(frozen=True)
class StopRun:
    """Order: hold the pins; with `park`, bring them to their idle levels."""

    park: bool = False

    def apply(self, session: Session) -> None:
        session.stop(self.park)


@dataclass(frozen=True)
class ChangeCourse:
    """Order: change the course of the live run."""

    make: NewCourse

    def apply(self, session: Session) -> None:
        session.splice(self.make)


Order = OpenRun | StopRun | ChangeCourse


@dataclass(frozen=True)
class OrderRefused:
    """An order that could not be; the session goes on."""

    error: UsageError


@dataclass(frozen=True)
class Crashed:
    """The thread died of `error`, a bug here or in the source of a run; the pins are parked, if
    need be by the board itself.
    """

    error: Exception


ThreadEvent = Event | OrderRefused | Crashed


class SessionThread:
    """Drives a session on a transport until it is closed or the link fails.

    `events` is for one reader. Closing parks the pins of a run that is open.
    """

    def __init__(
        self, transport: Transport, settings: SessionSettings, clock: Clock | None = None
    ) -> None:
        self.events: queue.SimpleQueue[ThreadEvent] = queue.SimpleQueue()
        self._orders: queue.SimpleQueue[Order] = queue.SimpleQueue()
        self._transport = transport
        self._clock = clock or WallClock()
        self._session = Session(settings, self._clock.now_ns())
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, name="edgewheel-link", daemon=True)
        self._thread.start()

    def submit(self, order: Order) -> None:
        """Hand an order to the session; it acts within a few milliseconds."""
        self._orders.put(order)

    def close(self) -> None:
        """Park, close the port and end the thread."""
        self._closing.set()
        self._thread.join()

    def _run(self) -> None:
        try:
            while not self._closing.is_set() and self._session.phase is not Phase.OVER:
                self._turn()
            self._leave()
        except OSError as error:
            name = self._transport.name
            text = f"{name} is gone ({error}): plug the board in again, then start anew"
            self.events.put(LinkFailed(BenchError(text)))
        except Exception as error:
            self.events.put(Crashed(error))
            with suppress(Exception):
                self._leave()
        finally:
            self._transport.close()

    def _turn(self) -> None:
        """Once around: what came, what was ordered, what is to be sent."""
        data = self._transport.read()
        now_ns = self._clock.now_ns()
        for event in self._session.receive(data, now_ns):
            self.events.put(event)
        while not self._orders.empty():
            try:
                self._orders.get().apply(self._session)
            except UsageError as error:
                self.events.put(OrderRefused(error))
        out, _ = self._session.poll(now_ns)
        if out:
            self._transport.write(out)

    def _leave(self) -> None:
        """Park the pins if a run is open, and give the board a moment to say that it has."""
        run = self._session.run
        if run is None or run.parked or self._session.phase is Phase.OVER:
            return
        self._session.stop(park=True)
        end_ns = self._clock.now_ns() + _LEAVE_NS
        while self._clock.now_ns() < end_ns and not run.parked:
            self._turn()
