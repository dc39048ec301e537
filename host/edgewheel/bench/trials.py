"""The trials of a search in the record of the run that it started from: one row a trial."""

from __future__ import annotations

import sqlite3
from dataclasses import astuple, dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from edgewheel.bench.record_folder import RecordFolder
from edgewheel.errors import UsageError

_SCHEMA = """
CREATE TABLE IF NOT EXISTS trial (key TEXT PRIMARY KEY, stage TEXT NOT NULL,
    changes INTEGER NOT NULL, begin_s REAL NOT NULL, end_s REAL NOT NULL, failed INTEGER NOT NULL,
    runs INTEGER NOT NULL, found TEXT NOT NULL, found_s REAL, seconds REAL NOT NULL) STRICT;
"""


@dataclass(frozen=True)
class TrialRow:
    """One trial: what was tried, in how many runs, whether it failed, how, when, and how long it
    took. `key` tells what was tried from all other things that can be.
    """

    key: str
    stage: str
    changes: int
    begin_s: float
    end_s: float
    failed: bool
    runs: int
    found: str
    found_s: float | None
    seconds: float


class Trials:
    """The trials in a run folder, kept at once. Raises UsageError if the folder has no record."""

    def __init__(self, folder: Path) -> None:
        self._place = RecordFolder(folder)
        file = self._place.database
        if not file.is_file():
            raise UsageError(
                f"{folder} is no run folder: it has no run.sqlite. Name one that 'run' or 'sweep' "
                "has made."
            )
        try:
            self._database = self._place.open()
            self._database.executescript(_SCHEMA)
            self._rows = {
                row[0]: _row(row) for row in self._database.execute("SELECT * FROM trial")
            }
        except sqlite3.Error as error:
            raise UsageError(f"{file} cannot be read as a record: {error}.") from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._database.close()

    def find(self, key: str) -> TrialRow | None:
        """A trial that was done before."""
        return self._rows.get(key)

    def add(self, row: TrialRow) -> None:
        """Keep a trial. Raises BenchError when the disk does not take it."""
        self._rows[row.key] = row
        with self._place.or_refuse():
            self._database.execute(
                "INSERT OR REPLACE INTO trial VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", astuple(row)
            )


def _row(values: tuple[object, ...]) -> TrialRow:
    key, stage, changes, begin_s, end_s, failed, runs, found, found_s, seconds = values
    return TrialRow(
        str(key),
        str(stage),
        _int(changes),
        _float(begin_s),
        _float(end_s),
        bool(failed),
        _int(runs),
        str(found),
        None if found_s is None else _float(found_s),
        _float(seconds),
    )


def _int(value: object) -> int:
    assert isinstance(value, int)
    return value


def _float(value: object) -> float:
    assert isinstance(value, float | int)
    return float(value)
