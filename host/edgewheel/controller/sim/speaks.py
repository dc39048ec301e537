"""The ways in which the simulated controller reports: text, records, CAN messages, OBD answers."""

from __future__ import annotations

from typing import Protocol

from edgewheel.controller.reader import Piece
from edgewheel.controller.sim.report import Reading, SerialPort, report_line
from edgewheel.controller.sim.settings import ReportSettings
from edgewheel.controller.sim.speaks_can import CanSpeaker
from edgewheel.controller.sim.speaks_obd import ObdSpeaker
from edgewheel.controller.sim.speaks_records import record


class Speaker(Protocol):
    """One port that reports leave by, and requests come in by."""

    def report(self, tick: int, reading: Reading) -> None:
        """It is time for a report."""

    def ask(self, tick: int, piece: Piece, reading: Reading) -> None:
        """A request has come."""

    def sent(self, now: int) -> tuple[tuple[int, Piece], ...]:
        """What has left by now, with the tick at which the last of it did."""


class SerialSpeaker:
    """Text lines or binary records, by themselves or one for each request."""

    def __init__(self, settings: ReportSettings, tick_hz: int) -> None:
        self._port = SerialPort(settings, tick_hz)
        self._asked = settings.asked
        self._written = record if settings.speaks == "records" else report_line

    def report(self, tick: int, reading: Reading) -> None:
        if not self._asked:
            self._port.send(tick, self._written(reading))

    def ask(self, tick: int, piece: Piece, reading: Reading) -> None:
        if self._asked:
            self._port.send(tick, self._written(reading))

    def sent(self, now: int) -> tuple[tuple[int, Piece], ...]:
        return self._port.sent(now)


def speaker_for(settings: ReportSettings, tick_hz: int) -> Speaker:
    """The way of reporting that is set."""
    if settings.speaks == "can":
        return CanSpeaker(settings, tick_hz)
    if settings.speaks == "obd":
        return ObdSpeaker(settings, tick_hz)
    return SerialSpeaker(settings, tick_hz)
