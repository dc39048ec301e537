"""Binary records from a controller's serial port, by a declared layout."""

from __future__ import annotations

import math
import struct
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from edgewheel.controller.asking import Asker, Request
from edgewheel.controller.lines import Fields, Report, Value
from edgewheel.controller.reader import pairs_text

Number = Literal["u8", "i8", "u16", "i16", "u32", "i32", "f32", "f64"]
NUMBERS: dict[Number, str] = {
    "u8": "B",
    "i8": "b",
    "u16": "H",
    "i16": "h",
    "u32": "I",
    "i32": "i",
    "f32": "f",
    "f64": "d",
}


@dataclass(frozen=True)
class RecordField:
    """One value: at byte `at` of the record, raw times `scale` plus `offset`.

    With `bit` it is that bit of the raw value, 0 or 1. `words` name raw values; one that has no
    name stays a number.
    """

    name: str
    at: int
    type: Number
    scale: float = 1.0
    offset: float = 0.0
    bit: int | None = None
    words: Mapping[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Checksum:
    """A CRC at byte `at`, over the bytes from `first` up to it; `compute` gives it."""

    at: int
    type: Number
    compute: Callable[[bytes], int]
    first: int = 0


@dataclass(frozen=True)
class Layout:
    """A record of `size` bytes that begins with `header`, which may be empty.

    Without a header records are found by their checksum; without either, by the request before
    them.
    """

    size: int
    header: bytes
    byte_order: Literal["little", "big"]
    fields: tuple[RecordField, ...]
    checksum: Checksum | None = None

    def unpack(self, type_: Number, data: bytes, at: int) -> float:
        """The raw number at a byte."""
        order = "<" if self.byte_order == "little" else ">"
        (raw,) = struct.unpack_from(order + NUMBERS[type_], data, at)
        return float(raw) if type_ in ("f32", "f64") else raw

    def is_good(self, record: bytes) -> bool:
        """Whether the checksum, if there is one, is that of the record."""
        check = self.checksum
        if check is None:
            return True
        told = self.unpack(check.type, record, check.at)
        return told == check.compute(record[check.first : check.at])

    def read(self, record: bytes) -> Fields:
        """All fields of a whole record."""
        return {one.name: self._value(one, record) for one in self.fields}

    def _value(self, one: RecordField, record: bytes) -> Value:
        raw = self.unpack(one.type, record, one.at)
        if one.bit is not None:
            raw = int(raw) >> one.bit & 1
        if isinstance(raw, int) and raw in one.words:
            return one.words[raw]
        value = raw * one.scale + one.offset
        return value if math.isfinite(value) else str(value)


class RecordReader:
    """Finds records in a stream of bytes and reads them."""

    def __init__(self, layout: Layout, request: Request | None = None) -> None:
        self._layout = layout
        self._asker = Asker(request) if request else None
        self._bytes = bytearray()
        self._counts: Counter[str] = Counter()
        self._in_step = True

    def feed(self, piece: bytes, arrived: int) -> list[Report]:
        """The reports whose records end in these bytes."""
        self._counts["bytes"] += len(piece)
        self._bytes += piece
        reports = []
        while (record := self._next_record()) is not None:
            self._counts["records"] += 1
            if self._asker:
                self._asker.answered()
            fields = self._layout.read(record)
            reports.append(Report(arrived, pairs_text(fields), fields))
        return reports

    def due(self, now_ns: int) -> list[bytes]:
        """The request, if this controller must be asked."""
        if self._asker is None:
            return []
        out = self._asker.due(now_ns)
        if out and self._bytes:
            # What is left over from the answer before is a short one.
            self._counts["short"] += 1
            self._bytes.clear()
        return out

    def broken(self) -> None:
        self._skip(len(self._bytes))

    def tally(self) -> dict[str, int]:
        asked = {"unanswered": self._asker.unanswered} if self._asker else {}
        return {**self._counts, **asked}

    def _next_record(self) -> bytes | None:
        """The next good record, past whatever is none; None until more has come."""
        layout, data = self._layout, self._bytes
        while True:
            self._skip_to_header()
            if len(data) < layout.size:
                return None
            record = bytes(data[: layout.size])
            if layout.is_good(record):
                del data[: layout.size]
                self._in_step = True
                return record
            if self._in_step or layout.header:
                self._counts["bad_checksum"] += 1
            self._skip(1)

    def _skip_to_header(self) -> None:
        header = self._layout.header
        if not header or self._bytes.startswith(header):
            return
        at = self._bytes.find(header)
        if at < 0:
            # The end may be the beginning of a header.
            keep = next(
                n for n in range(len(header) - 1, -1, -1) if self._bytes.endswith(header[:n])
            )
            at = len(self._bytes) - min(keep, len(self._bytes))
        self._skip(at)

    def _skip(self, count: int) -> None:
        if count:
            self._counts["skipped_bytes"] += count
            self._in_step = False
            del self._bytes[:count]
