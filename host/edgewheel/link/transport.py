"""What a session thread needs of a port, whatever it is."""

from __future__ import annotations

from typing import Protocol


class Transport(Protocol):
    """A two-way stream of bytes. Every method raises OSError once the port is gone."""

    name: str

    def read(self) -> bytes:
        """What has come, perhaps nothing; waits a few milliseconds for a first byte."""

    def write(self, data: bytes) -> None:
        """Send all of it; does not wait until it has left."""

    def close(self) -> None:
        """Close the port; the board sees that."""
