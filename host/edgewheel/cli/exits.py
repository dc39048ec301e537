"""The exit codes, which scripts rely on."""

from __future__ import annotations

from enum import IntEnum


class ExitCode(IntEnum):
    """What a command's end means."""

    PASSED = 0
    FAILED = 1
    """The controller failed a limit."""
    USAGE = 2
    """A file, an option or a combination of them cannot be used."""
    BENCH = 3
    """The bench was lost, so nothing is said about the controller."""
    TIMEOUT = 4
    INTERNAL = 5
    """A mistake in edgewheel, never the controller's."""
    INTERRUPTED = 130
