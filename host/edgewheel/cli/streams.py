"""stdout and stderr as whoever started the command left them: closed, full, or of few letters."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import IO, Any, TextIO, cast


class Heedless:
    """A stream of talk: what nobody takes any more goes nowhere, and the work goes on."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write, and forget it if the reader has left or the disk is full."""
        try:
            return self._stream.write(text)
        except OSError:
            drop(self._stream)
        return len(text)

    def flush(self) -> None:
        """Flush, likewise."""
        try:
            self._stream.flush()
        except OSError:
            drop(self._stream)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


def settle_streams() -> None:
    """Closed streams lead nowhere, a letter that stdout cannot write is a question mark, and no
    talk ends a command: its exit code is a verdict on the controller.
    """
    sys.stdout = sys.stdout or _nowhere()
    sys.stderr = sys.stderr or _nowhere()
    reconfigure = getattr(sys.stdout, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")
    sys.stderr = cast(TextIO, Heedless(sys.stderr))


def drop(stream: IO[str]) -> None:
    """What still goes to a stream goes nowhere: its reader has left, or its disk is full, of which
    Python would complain once more when it flushes.
    """
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _nowhere() -> TextIO:
    return Path(os.devnull).open("w", encoding="utf-8")
