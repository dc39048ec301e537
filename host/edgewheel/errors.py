"""Errors that are sentences: what is wrong, where, and what to do about it.

Every error that a user can cause derives from :class:`EdgewheelError`; the command line prints its
text and exits with its `exit_code`. Anything else that escapes is a bug and exits with 5.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

MISTAKE = "edgewheel: this is a mistake in edgewheel itself, please report it"
"""How the last line begins when something escapes that is no `EdgewheelError`."""


class EdgewheelError(Exception):
    """Something a person can mend; its text says how."""

    exit_code: ClassVar[int] = 2


class UsageError(EdgewheelError):
    """A command line, a number or a combination of them that cannot be used."""


class BenchError(EdgewheelError):
    """The bench failed (board, cable, disk), so nothing can be said about the controller."""

    exit_code = 3


class BenchTimeoutError(BenchError):
    """The bench did not answer in time."""

    exit_code = 4


@dataclass(frozen=True)
class Place:
    """Where in a file a value stands; `line` counts from 1, 0 if unknown."""

    file: str
    line: int = 0
    key: str = ""

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        return f"{where}: {self.key}" if self.key else where


class FileError(EdgewheelError):
    """A file that cannot be used: where, what is wrong, and what would be right."""

    def __init__(self, place: Place, problem: str, remedy: str) -> None:
        self.place = place
        self.problem = problem
        self.remedy = remedy
        super().__init__(f"{place}: {problem}\n  {remedy}")
