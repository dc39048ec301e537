"""The text line on the serial port, as slow as its baud rate."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from edgewheel.controller.sim.settings import ReportSettings

BITS_PER_BYTE = 10
"""A start bit, eight data bits, a stop bit."""


class SerialPort:
    """Sends lines one after the other. A line that does not fit into the buffer is not sent."""

    def __init__(self, settings: ReportSettings, tick_hz: int) -> None:
        self._ticks_per_byte = BITS_PER_BYTE * tick_hz / settings.baud
        self._room = settings.buffer_bytes
        self._free_at = 0.0
        self._sending: deque[tuple[int, bytes]] = deque()

    def send(self, tick: int, line: bytes) -> None:
        """Begin to send as soon as the port is free."""
        waiting = max(0.0, self._free_at - tick) / self._ticks_per_byte
        if waiting + len(line) > self._room:
            return
        self._free_at = max(self._free_at, tick) + len(line) * self._ticks_per_byte
        self._sending.append((round(self._free_at), line))

    def sent(self, now: int) -> tuple[tuple[int, bytes], ...]:
        """The lines whose last stop bit has gone by `now`, with the tick at which it did."""
        gone = []
        while self._sending and self._sending[0][0] <= now:
            gone.append(self._sending.popleft())
        return tuple(gone)


@dataclass(frozen=True)
class Reading:
    """What the controller knows of itself at one moment. `sync` is its word for it."""

    seconds: float
    rpm: float
    sync: str
    losses: int
    overruns: int
    cut: bool
    advance_deg: float
    reason: str


def report_line(reading: Reading) -> bytes:
    """One line: name=value, blanks between; the reason is quoted, for it may have blanks in it."""
    return (
        f"t={reading.seconds:.3f} rpm={reading.rpm:.1f} sync={reading.sync} "
        f"losses={reading.losses} overruns={reading.overruns} "
        f"cut={'yes' if reading.cut else 'no'} advance={reading.advance_deg:.1f} "
        f'reason="{reading.reason}"\r\n'
    ).encode("ascii")
