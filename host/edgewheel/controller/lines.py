"""Text lines from a controller's serial port, as records with named values.

A sans-I/O reader: bytes and the time of their arrival in, reports out. The time is an integer of
whatever clock the caller has, ticks or nanoseconds. What cannot be read is counted, never fatal.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import asdict, dataclass, field

from edgewheel.controller.asking import Asker, Request
from edgewheel.yamlfile import Node

LONGEST_LINE_BYTES = 4096
"""A longer line is not a report; it is dropped as it comes, so that it takes no memory."""

Value = float | str
Fields = dict[str, Value]
Parse = Callable[[str], Fields | None]

_PAIR = re.compile(r'(\w+)=("[^"]*"|\S*)')


@dataclass(frozen=True)
class Report:
    """One line: when its end arrived, its text, and its values by name; numbers as numbers."""

    arrived: int
    text: str
    fields: Fields


@dataclass
class LineCounts:
    """How much came, and how much of it could not be read."""

    lines: int = 0
    unmatched: int = 0
    too_long: int = 0
    not_text: int = 0
    bytes: int = 0


def value(text: str) -> Value:
    """A finite number if it is one, else the text."""
    try:
        number = float(text)
    except ValueError:
        return text
    return number if math.isfinite(number) else text


def pairs(text: str) -> Fields | None:
    """`name=value` with blanks between; a value with blanks in it stands in double quotes."""
    found = {name: value(text.strip('"')) for name, text in _PAIR.findall(text)}
    return found or None


def columns(names: tuple[str, ...], separator: str = ",") -> Parse:
    """Values in a fixed order; a line with another number of them is no report."""

    def parse(text: str) -> Fields | None:
        cells = text.split(separator)
        if len(cells) != len(names):
            return None
        return {name: value(cell.strip()) for name, cell in zip(names, cells, strict=True)}

    return parse


def pattern(expression: re.Pattern[str]) -> Parse:
    """The named groups of an expression found in the line, those that took part."""

    def parse(text: str) -> Fields | None:
        found = expression.search(text)
        if not found:
            return None
        groups = found.groupdict()
        return {name: value(part) for name, part in groups.items() if part is not None}

    return parse


def read_format(node: Node) -> Parse:
    """How lines are read: `pairs`, `{columns: [a, b], separator: ";"}` or `{pattern: REGEX}`.

    Raises FileError.
    """
    if isinstance(node.content, str):
        node.choice(("pairs",))
        return pairs
    section = node.section()
    names, expression = section.optional("columns"), section.optional("pattern")
    separator = section.optional("separator")
    section.finish()
    if (names is None) == (expression is None):
        raise node.refuse("the lines have no one format", "Write 'columns:' or 'pattern:'.")
    if names:
        listed = tuple(name.text() for name in names.items())
        if not listed or len(set(listed)) != len(listed):
            raise names.refuse("a name is missing or stands twice", "Name each column once.")
        return columns(listed, separator.text() if separator else ",")
    assert expression
    return pattern(_compiled(expression))


def _compiled(node: Node) -> re.Pattern[str]:
    try:
        expression = re.compile(node.text())
    except re.error as error:
        raise node.refuse(f"this is no pattern: {error}", "Mend the regular expression.") from error
    if not expression.groupindex:
        raise node.refuse("the pattern names nothing", "Name groups: (?P<rpm>[0-9.]+).")
    return expression


@dataclass
class LineReader:
    """Cuts a stream of bytes into lines and reads them. Lines end with LF, CR or both.

    With `request` the controller is asked for each line.
    """

    parse: Parse = pairs
    request: Request | None = None
    counts: LineCounts = field(default_factory=LineCounts)

    def __post_init__(self) -> None:
        self._asker = Asker(self.request) if self.request else None
        self._line = bytearray()
        self._skipping = self._headless = False

    def feed(self, data: bytes, arrived: int) -> list[Report]:
        """The reports whose end is in these bytes."""
        self.counts.bytes += len(data)
        *ended, rest = data.replace(b"\r", b"\n").split(b"\n")
        reports = []
        for part in ended:
            self._take(part)
            report = self._end_line(arrived)
            if report:
                reports.append(report)
        self._take(rest)
        return reports

    def due(self, now_ns: int) -> list[bytes]:
        """The request, if this controller must be asked."""
        return self._asker.due(now_ns) if self._asker else []

    def broken(self) -> None:
        """The line that goes on when the connection is back is dropped, too: it may lack its
        beginning.
        """
        self._line.clear()
        self._skipping = self._headless = True

    def tally(self) -> dict[str, int]:
        """How much came and how much of it could not be read, by kind."""
        asked = {"unanswered": self._asker.unanswered} if self._asker else {}
        return {**asdict(self.counts), **asked}

    def _take(self, part: bytes) -> None:
        if not self._skipping:
            self._line += part
            self._skipping = len(self._line) > LONGEST_LINE_BYTES

    def _end_line(self, arrived: int) -> Report | None:
        line, too_long, headless = bytes(self._line), self._skipping, self._headless
        self._line.clear()
        self._skipping = self._headless = False
        if headless or not line.strip():
            return None
        self.counts.lines += 1
        if too_long:
            self.counts.too_long += 1
            return None
        try:
            text = line.decode("utf-8").strip()
        except UnicodeDecodeError:
            self.counts.not_text += 1
            return None
        fields = self.parse(text)
        if fields is None:
            self.counts.unmatched += 1
            return None
        if self._asker:
            self._asker.answered()
        return Report(arrived, text, fields)
