"""A serial port as a wire of bytes."""

from __future__ import annotations

from collections.abc import Sequence

from edgewheel.link.serial_port import SerialPort


class SerialWire:
    """An open port. Raises BenchError if it cannot be opened."""

    def __init__(self, port: str, baud: int) -> None:
        self.name = port
        self._port = SerialPort(port, baud)

    def read(self) -> Sequence[bytes]:
        data = self._port.read()
        return [data] if data else []

    def write(self, piece: bytes) -> None:
        self._port.write(piece)

    def close(self) -> None:
        self._port.close()
