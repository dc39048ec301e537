"""Session, link, simulated board and whatever is on its pins, in one thread and in virtual time.

Nothing here waits: each step goes straight to the next moment at which something happens, so a run
takes as long as its computation, and two runs of the same inputs are the same.
"""

from __future__ import annotations

from collections.abc import Callable

from edgewheel.board.sim import SimBoard
from edgewheel.clock import VirtualClock
from edgewheel.errors import BenchTimeoutError
from edgewheel.link.events import Event
from edgewheel.link.pinbus import PinListener
from edgewheel.link.session import Session
from edgewheel.link.sim_link import SimLink


class TickClock:
    """The board's clock beside the host's: both run alike, and the board woke a second earlier."""

    def __init__(self, tick_hz: int) -> None:
        self._hz = tick_hz

    def tick(self, now_ns: int) -> int:
        """The last tick at or before a moment."""
        return now_ns * self._hz // 1_000_000_000 + self._hz

    def ns(self, tick: int) -> int:
        """The first nanosecond at which the clock shows `tick`."""
        return -((self._hz - tick) * 1_000_000_000 // self._hz)


class VirtualBench:
    """The event loop of the simulated bench.

    `listener` is on the board's pins. Pins and listener exchange whenever the board speaks of its
    own accord, every 5 ms in a run, but not within `exchange_ns` of the last time; a pulse is known
    to the host that much later than it happened, but stamped with its own tick.
    """

    def __init__(
        self,
        session: Session,
        board: SimBoard,
        listener: PinListener | None = None,
        link: SimLink | None = None,
        clock: VirtualClock | None = None,
        exchange_ns: int = 0,
    ) -> None:
        self.session = session
        self.board = board
        self.clock = clock or VirtualClock()
        self._link = link or SimLink()
        self._listener = listener
        self._ticks = TickClock(board.settings.tick_hz)
        self._exchange_ns = exchange_ns
        self._session_due = self._board_due = self._exchange_due = self.clock.now_ns()

    def step(self) -> list[Event]:
        """Go to the next moment at which something happens; what the session tells of it."""
        self.clock.sleep_until(self._next_ns())
        now_ns = self.clock.now_ns()
        from_host = self._link.to_board.receive(now_ns)
        if from_host or now_ns >= self._board_due:
            self._attend_board(from_host, now_ns)
        return self._attend_session(self._link.to_host.receive(now_ns), now_ns)

    def run_until(
        self, done: Callable[[list[Event]], bool], limit_ns: int = 3_600_000_000_000
    ) -> list[Event]:
        """Step until `done` says so of the events of a step; all events up to then.

        BenchTimeoutError if that takes more than `limit_ns` of virtual time.
        """
        end_ns = self.clock.now_ns() + limit_ns
        seen: list[Event] = []
        while self.clock.now_ns() < end_ns:
            events = self.step()
            seen += events
            if done(events):
                return seen
        raise BenchTimeoutError(f"not done after {limit_ns / 1e9:g} s of virtual time")

    def settle(self) -> None:
        """Let the session act on an order at once instead of at its next deadline."""
        self._session_due = self.clock.now_ns()

    def _attend_board(self, data: bytes, now_ns: int) -> None:
        board, tick = self.board, self._ticks.tick(now_ns)
        if data:
            board.receive(data, tick)
        own_accord = now_ns >= max(self._board_due, self._exchange_due)
        # Whoever is told that a run has ended has seen all of it.
        if own_accord or board.has_news(tick):
            self._exchange(tick, now_ns)
        out, due_tick = board.poll(tick)
        self._board_due = self._ticks.ns(due_tick)
        self._link.to_host.send(out, now_ns)

    def _attend_session(self, data: bytes, now_ns: int) -> list[Event]:
        if not data and now_ns < self._session_due:
            return []
        events = self.session.receive(data, now_ns)
        out, self._session_due = self.session.poll(now_ns)
        self._link.to_board.send(out, now_ns)
        return events

    def _exchange(self, tick: int, now_ns: int) -> None:
        self._exchange_due = now_ns + self._exchange_ns
        transitions = self.board.advance(tick)
        if self._listener is not None:
            self.board.capture(self._listener.exchange(transitions, tick))

    def _next_ns(self) -> int:
        due = min(self._session_due, self._board_due)
        for lane in (self._link.to_board, self._link.to_host):
            if lane.next_ns is not None and lane.next_ns < due:
                due = lane.next_ns
        return due
