"""A real port through pyserial: a device, a pty, or a URL such as socket://host:port."""

from __future__ import annotations

from typing import Any

import serial

from edgewheel.errors import BenchError

BAUD = 250_000  # without error at 16 MHz; boards on USB do not care
_READ_S = 0.004
_WRITE_S = 1.0


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
            raise BenchError(_why_not(url, error)) from error

    def read(self) -> bytes:
        data: bytes = self._port.read(max(1, self._port.in_waiting))
        return data

    def write(self, data: bytes) -> None:
        self._port.write(data)

    def close(self) -> None:
        self._port.close()


def _why_not(url: str, error: Exception) -> str:
    """The sentence for a port that does not open."""
    text = str(error)
    if "Permission" in text:
        return (
            f"{url} may not be opened by this user: add the user to the group that owns it "
            "(dialout on most systems), then log in anew"
        )
    if "exclusively lock" in text or "busy" in text:
        return f"{url} is in use by another program: close that one first"
    if "No such file" in text or "could not open port" in text:
        return f"There is no port {url}: plug the board in, or name another port ({text})"
    return f"{url} cannot be opened: {text}"
