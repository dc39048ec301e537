"""What the controller says, as lines, of which the last few thousand are kept."""

from __future__ import annotations

from collections import deque
from itertools import islice

MOST_LINES = 2000
LONGEST_LINE = 300
"""Characters shown of a line; the record keeps all of it."""

HEX_BYTES = 16


class RawLog:
    """Bytes in, lines out."""

    def __init__(self, binary: bool = False) -> None:
        self._binary = binary
        self._rest = b""
        self._lines: deque[str] = deque(maxlen=MOST_LINES)

    def feed(self, data: bytes) -> None:
        """Bytes as they came; a line is one when it is over, or too long to wait for its end."""
        self._rest += data
        if self._binary:
            self._take_hex()
            return
        *lines, self._rest = self._rest.split(b"\n")
        while len(self._rest) > LONGEST_LINE:
            lines.append(self._rest[:LONGEST_LINE])
            self._rest = self._rest[LONGEST_LINE:]
        for line in lines:
            self._lines.append(_readable(line[:LONGEST_LINE]))

    def last(self, most: int, words: str = "") -> list[str]:
        """The last lines that hold `words`, at most so many, in their order."""
        wanted = words.lower()
        found = (line for line in reversed(self._lines) if wanted in line.lower())
        return list(islice(found, most))[::-1]

    def _take_hex(self) -> None:
        while len(self._rest) >= HEX_BYTES:
            self._lines.append(self._rest[:HEX_BYTES].hex(" "))
            self._rest = self._rest[HEX_BYTES:]


def _readable(line: bytes) -> str:
    """Text in which nothing can move the cursor."""
    text = line.rstrip(b"\r").decode("utf-8", "replace")
    return "".join(char if char.isprintable() else "\N{MIDDLE DOT}" for char in text)
