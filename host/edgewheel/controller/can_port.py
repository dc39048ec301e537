"""A CAN bus through python-can, any of its interfaces."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from edgewheel.controller.reader import CanFrame
from edgewheel.errors import BenchError, UsageError

_READ_S = 0.004
_WRITE_S = 0.01
MOST_AT_ONCE = 500


def need_extra(error: ImportError) -> UsageError:
    """What to do where the libraries of the extra are missing."""
    return UsageError(
        f"Listening on CAN needs {error.name}. Install it with: pip install 'edgewheel[can]'."
    )


class CanPort:
    """An open bus. Raises BenchError with what to do if it cannot be opened."""

    def __init__(self, interface: str, channel: str, bitrate: int) -> None:
        try:
            import can
        except ImportError as error:
            raise need_extra(error) from error
        self.name = f"{interface}:{channel}"
        self._can = can
        try:
            # Configuration files elsewhere on the machine must not change what a bench file says.
            self._bus = can.Bus(
                channel=channel, interface=interface, bitrate=bitrate, ignore_config=True
            )
        except (can.CanError, OSError, ValueError, ImportError) as error:
            raise BenchError(
                f"The CAN bus {self.name} cannot be opened: {error}. Check the interface's name, "
                "that it is up, and that its driver is there."
            ) from error

    def read(self) -> Sequence[CanFrame]:
        frames: list[CanFrame] = []
        message = self._receive(_READ_S)
        while message is not None and len(frames) < MOST_AT_ONCE:
            if not (message.is_error_frame or message.is_remote_frame or message.is_fd):
                data = bytes(message.data)
                frames.append(CanFrame(message.arbitration_id, data, message.is_extended_id))
            message = self._receive(0)
        return frames

    def write(self, piece: CanFrame) -> None:
        """Send; a frame that finds no room, since nobody acknowledges those before it, is lost.

        It will be missed as an answer. That the bus itself is gone, reading tells.
        """
        message = self._can.Message(
            arbitration_id=piece.id, data=piece.data, is_extended_id=piece.extended
        )
        with suppress(self._can.CanError):
            self._bus.send(message, timeout=_WRITE_S)

    def close(self) -> None:
        self._bus.shutdown()

    def _receive(self, timeout_s: float) -> Any:
        try:
            return self._bus.recv(timeout_s)
        except self._can.CanError as error:
            raise OSError(str(error)) from error
