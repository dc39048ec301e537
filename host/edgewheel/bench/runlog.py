"""The `run.log` of a record: what was said, and when; a command stands there behind a prompt."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from edgewheel.clock import utc_stamp

LOG = "run.log"
PROMPT = "$ "
PARTED = "  "


def stamped(text: str) -> list[str]:
    """The lines of a text as the log has them, each behind the UTC time."""
    return [f"{utc_stamp()}{PARTED}{line}\n" for line in text.splitlines()]


def append(folder: Path, lines: Iterable[str]) -> bool:
    """Write stamped lines at the log's end; whether the disk took them. A log that cannot be
    written must not end a run.
    """
    try:
        with (folder / LOG).open("a", encoding="utf-8") as log:
            log.writelines(lines)
    except OSError:
        return False
    return True


def last_command(folder: Path) -> str:
    """The command that a record was last begun or taken up by; empty if nobody noted it."""
    try:
        lines = (folder / LOG).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return ""
    said = [line.partition(PARTED)[2] for line in lines]
    return next((line[len(PROMPT) :] for line in reversed(said) if line.startswith(PROMPT)), "")
