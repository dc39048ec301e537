"""A real port through pyserial: a device, a pty, or a URL such as socket://host:port."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import serial

from edgewheel.errors import BenchError

BAUD = 250_000  # without error at 16 MHz; boards on USB do not care
TOUCH_BAUD = 1200
_READ_S = 0.004
_WRITE_S = 1.0


class NoPortError(BenchError):
    """There is no such port."""


class ForbiddenPortError(BenchError):
    """The port may not be opened by this user."""


class BusyPortError(BenchError):
    """Another program has the port."""


class SerialPort:
    """A port that is open. BenchError with what to do if it cannot be opened.

    Nothing here ever calls `flush()`: on USB it may wait for ever.
    """

    def __init__(self, url: str, baud: int = BAUD) -> None:
        self.name = url
        options: dict[str, Any] = {} if "://" in url else {"exclusive": True}
        try:
            self._port = serial.serial_for_url(
                url, baudrate=baud, timeout=_READ_S, write_timeout=_WRITE_S, **options
            )
        except (OSError, ValueError) as error:
            raise _why_not(url, error) from error

    def read(self) -> bytes:
        data: bytes = self._port.read(max(1, self._port.in_waiting))
        return data

    def write(self, data: bytes) -> None:
        self._port.write(data)

    def drop(self) -> None:
        """Take DTR away, as closing the port does. OSError where there is no such line."""
        self._port.dtr = False

    def close(self) -> None:
        self._port.close()


def touch(url: str) -> None:
    """Open the port at 1200 baud and close it: a board takes that as the order to enter its boot
    loader. BenchError if the port cannot be opened."""
    port = SerialPort(url, TOUCH_BAUD)
    with suppress(OSError):  # the board may be gone already
        port.drop()
    port.close()


def _why_not(url: str, error: Exception) -> BenchError:
    """The sentence for a port that does not open."""
    text = str(error)
    if "Permission" in text:
        return ForbiddenPortError(
            f"{url} may not be opened by this user: add the user to the group that owns it "
            "(dialout on most systems), then log in anew"
        )
    if "exclusively lock" in text or "busy" in text:
        return BusyPortError(f"{url} is in use by another program: close that one first")
    if "No such file" in text or "could not open port" in text:
        return NoPortError(
            f"There is no port {url}: plug the board in, or name another port ({text})"
        )
    return BenchError(f"{url} cannot be opened: {text}")
