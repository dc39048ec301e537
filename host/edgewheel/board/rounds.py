"""One short run on a board whose port is open: plays a pulse table, keeps what the inputs did."""

from __future__ import annotations

import queue
from dataclasses import dataclass, field

from edgewheel.board.loopback import PulseTable
from edgewheel.clock import Clock
from edgewheel.edges.table import PinHeader
from edgewheel.errors import BenchError, BenchTimeoutError
from edgewheel.link.events import (
    Connected,
    LinkFailed,
    Parked,
    PulsesCaptured,
    PulsesMissing,
    RunEnded,
)
from edgewheel.link.hostrun import RunOrder
from edgewheel.link.session import SessionSettings
from edgewheel.link.session_thread import (
    Crashed,
    OpenRun,
    OrderRefused,
    SessionThread,
    ThreadEvent,
)
from edgewheel.link.transport import Transport
from edgewheel.link.welcome import Welcome

_PATIENCE_S = 10.0
_PARK_AFTER_MS = 100


@dataclass(frozen=True)
class Play:
    """How the run ended, the changes of the inputs, and how many of those are missing."""

    ended: RunEnded
    ticks: tuple[int, ...]
    levels: tuple[int, ...]
    missing: int


@dataclass
class _Heard:
    """What the session has told so far."""

    ended: RunEnded | None = None
    ticks: list[int] = field(default_factory=list)
    levels: list[int] = field(default_factory=list)
    missing: int = 0
    parked: bool = False


def play_once(transport: Transport, table: PulseTable, board: Welcome, clock: Clock) -> Play:
    """Play the table and close the port. Raises BenchError when the link or the board fails."""
    thread = SessionThread(transport, SessionSettings(port=transport.name), clock)
    heard = _Heard()
    end_ns = clock.now_ns() + int((table.seconds + _PATIENCE_S) * 1e9)
    try:
        while not heard.parked:
            left_s = max((end_ns - clock.now_ns()) / 1e9, 0.001)
            event = _next(thread, left_s, transport.name)
            if isinstance(event, Connected):
                order = RunOrder(
                    PinHeader(board.tick_hz, 0, 0), table.chunks(), park_after_ms=_PARK_AFTER_MS
                )
                thread.submit(OpenRun(order))
            _hear(heard, event)
    finally:
        thread.close()
    assert heard.ended is not None
    return Play(heard.ended, tuple(heard.ticks), tuple(heard.levels), heard.missing)


def _next(thread: SessionThread, left_s: float, port: str) -> ThreadEvent:
    try:
        return thread.events.get(timeout=left_s)
    except queue.Empty:
        raise BenchTimeoutError(
            f"The board at {port} did not end its run in time: unplug it and plug it in again"
        ) from None


def _hear(heard: _Heard, event: ThreadEvent) -> None:
    if isinstance(event, PulsesCaptured):
        heard.ticks += event.ticks
        heard.levels += event.levels
    elif isinstance(event, PulsesMissing):
        heard.missing += event.count
    elif isinstance(event, RunEnded):
        heard.ended = event
    elif isinstance(event, Parked):
        heard.parked = True
    elif isinstance(event, LinkFailed):
        raise event.error
    elif isinstance(event, Crashed | OrderRefused):
        raise BenchError(f"The run could not be played: {event.error}") from event.error
