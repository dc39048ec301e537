"""How a controller is listened to, as a bench file declares it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from edgewheel.controller.asking import Request
from edgewheel.controller.lines import Fields, LineReader, Parse, pairs

if TYPE_CHECKING:
    from edgewheel.controller.can_signals import CanReader
    from edgewheel.controller.obd import ObdAddress, ObdReader
    from edgewheel.controller.records import Layout, RecordReader


@dataclass(frozen=True)
class Lines:
    """Text lines, sent by themselves or on request."""

    parse: Parse = pairs
    request: Request | None = None

    def reader(self) -> LineReader:
        return LineReader(self.parse, self.request)

    def parse_text(self, text: str) -> Fields | None:
        return self.parse(text)


@dataclass(frozen=True)
class Records:
    """Binary records, sent by themselves or on request."""

    layout: Layout
    request: Request | None = None

    def reader(self) -> RecordReader:
        from edgewheel.controller.records import RecordReader

        return RecordReader(self.layout, self.request)

    def parse_text(self, text: str) -> Fields | None:
        return pairs(text)


@dataclass(frozen=True)
class CanMessages:
    """Cyclic CAN messages by the text of a DBC file."""

    dbc: str

    def reader(self) -> CanReader:
        """UsageError where the libraries are missing."""
        from edgewheel.controller.can_port import need_extra

        try:
            from cantools.database import load_string
        except ImportError as error:
            raise need_extra(error) from error
        from edgewheel.controller.can_signals import CanReader

        return CanReader(load_string(self.dbc, database_format="dbc"))  # type: ignore[arg-type]

    def parse_text(self, text: str) -> Fields | None:
        return pairs(text)


@dataclass(frozen=True)
class Obd:
    """Mode 01 of SAE J1979, each of the PIDs in turn."""

    address: ObdAddress
    pids: tuple[int, ...]
    every_ms: float = 50.0

    def reader(self) -> ObdReader:
        """UsageError where the libraries are missing."""
        from edgewheel.controller.can_port import need_extra
        from edgewheel.controller.obd import ObdReader

        try:
            return ObdReader(self.address, self.pids, self.every_ms)
        except ImportError as error:
            raise need_extra(error) from error

    def parse_text(self, text: str) -> Fields | None:
        return pairs(text)


SerialListening = Lines | Records
CanListening = CanMessages | Obd
