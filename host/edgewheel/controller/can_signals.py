"""Cyclic CAN messages, decoded by a DBC file through cantools."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING, Any

from edgewheel.controller.lines import Fields, Report, Value
from edgewheel.controller.reader import CanFrame, pairs_text

if TYPE_CHECKING:
    from cantools.database import Database


class CanReader:
    """One report a frame whose identifier the database knows, with the signals of its message.

    A signal that several messages carry is named `Message.signal`, all others by their own name.
    Choices come as their words.
    """

    def __init__(self, database: Database) -> None:
        self._counts: Counter[str] = Counter()
        messages = database.messages
        names = Counter(signal.name for message in messages for signal in message.signals)
        self._messages = {
            (message.frame_id, message.is_extended_frame): (
                message,
                {
                    signal.name: f"{message.name}.{signal.name}"
                    if names[signal.name] > 1
                    else signal.name
                    for signal in message.signals
                },
            )
            for message in messages
        }

    def feed(self, piece: CanFrame, arrived: int) -> list[Report]:
        """The report of this frame, if it can be read."""
        self._counts["frames"] += 1
        known = self._messages.get((piece.id, piece.extended))
        if known is None:
            self._counts["unknown_id"] += 1
            return []
        message, names = known
        if len(piece.data) < message.length:
            self._counts["short"] += 1
            return []
        try:
            decoded = message.decode(piece.data, decode_choices=True)
        except (ValueError, KeyError):
            # A multiplexer or a code that the database does not have; cantools' errors are these.
            self._counts["undecodable"] += 1
            return []
        assert isinstance(decoded, dict)
        fields: Fields = {names[name]: plain(value) for name, value in decoded.items()}
        return [Report(arrived, pairs_text(fields), fields)]

    def due(self, now_ns: int) -> list[CanFrame]:
        """Nothing: the controller sends by itself."""
        return []

    def broken(self) -> None:
        """Nothing: a frame is whole or not there."""

    def tally(self) -> dict[str, int]:
        return dict(self._counts)


def plain(value: Any) -> Value:
    """A decoded signal as number or word; a choice is equal to nothing but its name."""
    if isinstance(value, int | float):
        number = float(value)
        return number if math.isfinite(number) else str(number)
    return str(value)
