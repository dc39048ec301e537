"""The simulated board on a pseudo-terminal, paced by a clock: a port that any program can open."""

from __future__ import annotations

import os
import select
import tty
from collections.abc import Callable

from edgewheel.board.sim import SimBoard
from edgewheel.clock import Clock, WallClock
from edgewheel.link.pinbus import PinListener

_AWAY_NS = 10_000_000  # how often to look whether somebody has opened a port
_MOST = 65536


class PtyPort:
    """The far end of a port that others open by its `path`."""

    def __init__(self) -> None:
        self._fd, slave = os.openpty()
        self.path = os.ttyname(slave)
        # With no end of ours held open, the kernel tells when the last user has closed the port.
        os.close(slave)
        os.set_blocking(self._fd, False)
        self._poll = select.poll()
        self._poll.register(self._fd, select.POLLIN)
        self._open = False

    def is_open(self) -> bool:
        """Has somebody opened the port?"""
        now_open = not any(flags & select.POLLHUP for _, flags in self._poll.poll(0))
        if now_open and not self._open:
            # Else the line would echo to us what we say before the other side has set it up.
            tty.setraw(self._fd)
        self._open = now_open
        return now_open

    def wait(self, milliseconds: float) -> None:
        """Wait until bytes come, but no longer than that."""
        self._poll.poll(milliseconds)

    def read(self) -> bytes:
        """What has come, perhaps nothing."""
        try:
            return os.read(self._fd, _MOST)
        except (BlockingIOError, OSError):
            return b""

    def write(self, data: bytes) -> None:
        """Send what finds room; a reader that does not read loses the rest, as on a real line."""
        try:
            os.write(self._fd, data)
        except OSError:
            return

    def close(self) -> None:
        """Give the port back."""
        os.close(self._fd)


class PtyBoard:
    """A simulated board whose time is that of a clock, on `port`; its pins are wired to `listener`.

    `line`, if given, is asked for what the controller says on its own serial line, which is the
    port `controller_port`.
    """

    def __init__(
        self,
        board: SimBoard,
        listener: PinListener | None = None,
        line: Callable[[], bytes] | None = None,
        clock: Clock | None = None,
    ) -> None:
        self.port = PtyPort()
        self.controller_port = PtyPort() if line else None
        self._board = board
        self._listener = listener
        self._line = line
        self._clock = clock or WallClock()
        self._begun_ns = self._clock.now_ns()
        self._was_open = False

    def run(self, until: Callable[[], bool]) -> None:
        """Play the board until `until` says so; it is asked every few milliseconds."""
        try:
            while not until():
                self._turn()
        finally:
            self.port.close()
            if self.controller_port:
                self.controller_port.close()

    @property
    def tick(self) -> int:
        """The board's clock now."""
        hz = self._board.settings.tick_hz
        return (self._clock.now_ns() - self._begun_ns) * hz // 1_000_000_000

    def _turn(self) -> None:
        """Once around: what came, what the pins did, what is to be said; then wait."""
        is_open = self.port.is_open()
        tick = self.tick
        if self._was_open and not is_open:
            self._board.disconnect(tick)
        self._was_open = is_open
        data = self.port.read() if is_open else b""
        if data:
            self._board.receive(data, tick)
        self._exchange(tick)
        out, due_tick = self._board.poll(tick)
        if not is_open:
            self._clock.sleep_until(self._clock.now_ns() + _AWAY_NS)
            return
        if out:
            self.port.write(out)
        self.port.wait(self._wait_ms(due_tick))

    def _wait_ms(self, due_tick: int) -> float:
        left_ms = (due_tick - self.tick) * 1000 / self._board.settings.tick_hz
        return min(max(left_ms, 0.0), _AWAY_NS / 1e6)

    def _exchange(self, tick: int) -> None:
        transitions = self._board.advance(tick)
        if self._listener is not None:
            self._board.capture(self._listener.exchange(transitions, tick))
        if self._line is not None and self.controller_port is not None:
            text = self._line()
            if text and self.controller_port.is_open():
                self.controller_port.write(text)
