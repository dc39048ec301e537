"""The record of a search: a folder with copies of the inputs and one SQLite file, a row a trial.

Each trial is on disk before the next begins. `summary.json` is written last and atomically, so a
folder without one is a search that was stopped or cut off, and can be taken up again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any, Self

from edgewheel.bench.record import run_folder
from edgewheel.bench.record_folder import RecordFolder
from edgewheel.errors import BenchError, UsageError

SCHEMA_VERSION = 2
FINGERPRINT = "search"
"""Among a record's notes: a digest of everything that decides its trials."""

_SCHEMA = f"""
PRAGMA journal_mode = WAL;
PRAGMA user_version = {SCHEMA_VERSION};
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE trial (number INTEGER PRIMARY KEY, setting TEXT NOT NULL, seed INTEGER NOT NULL,
                    passed INTEGER NOT NULL, detail TEXT NOT NULL, reason TEXT NOT NULL,
                    seconds REAL NOT NULL, figures TEXT NOT NULL) STRICT;
"""

ALL_TRIALS = "SELECT * FROM trial ORDER BY number"
ALL_NOTES = "SELECT key, value FROM meta"


@dataclass(frozen=True)
class Trial:
    """What a trial showed.

    `setting` says what was tried, `seed` where it began; `detail` is the bench's sentence, `reason`
    the controller's own word, `seconds` how long the engine turned. `figures` is what was measured,
    as a JSON object; empty where the answer is only yes or no.
    """

    number: int
    setting: str
    seed: int
    passed: bool
    detail: str
    reason: str
    seconds: float
    figures: str = ""


def trial_of(row: Sequence[Any]) -> Trial:
    """A trial from its row of the record."""
    number, setting, seed, passed, *rest = row
    return Trial(number, setting, seed, bool(passed), *rest)


class SearchRecord:
    """The open record of a search; in a folder that has one already, it goes on with that.

    Raises BenchError when the disk does not take it.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._place = RecordFolder(folder)
        self._database = self._place.make()
        self._is_open = True
        with self._place.or_refuse():
            self.is_new = not self._database.execute("PRAGMA user_version").fetchone()[0]
            if self.is_new:
                self._database.executescript(_SCHEMA)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(BenchError):
            self.close()

    def inputs(self, files: Iterable[tuple[str, str]], meta: Mapping[str, str]) -> None:
        """Copy the input files and note what else decides the search."""
        self._place.copy_inputs(files)
        with self._place.or_refuse():
            self._database.executemany("INSERT INTO meta VALUES (?, ?)", meta.items())

    def begin(self, files: Iterable[tuple[str, str]], meta: Mapping[str, str]) -> None:
        """Note what decides the search, or go on with it if it is here already.

        Raises UsageError if what is here is another; then it is closed.
        """
        if self.is_new:
            self.inputs(files, meta)
        elif self.meta().get(FINGERPRINT) != meta[FINGERPRINT]:
            self.close()
            raise UsageError(
                f"{self.folder} is the record of another search: its files, what is asked of them "
                "or the version of edgewheel has changed. Leave --resume out to begin anew."
            )

    def add(self, trial: Trial) -> None:
        """Keep a trial."""
        with self._place.or_refuse():
            self._database.execute(
                "INSERT INTO trial VALUES (?, ?, ?, ?, ?, ?, ?, ?)", astuple(trial)
            )

    def trials(self) -> list[Trial]:
        """Those that are on disk, in order."""
        with self._place.or_refuse():
            return [trial_of(row) for row in self._database.execute(ALL_TRIALS)]

    def meta(self) -> dict[str, str]:
        """What was noted as deciding the search."""
        with self._place.or_refuse():
            return dict(self._database.execute(ALL_NOTES))

    def finish(self, summary: Mapping[str, Any]) -> None:
        """Close the record, then write the summary in one step."""
        self.close()
        self._place.write_summary(summary)

    def close(self) -> None:
        """Fold the write-ahead log into the one file."""
        if self._is_open:
            self._is_open = False
            self._place.close(self._database)


def search_folder(runs: Path, name: str, resume: Path | None) -> Path:
    """The folder of a new search, or the one to go on with. Raises UsageError if it holds none."""
    if resume is None:
        return run_folder(runs, name)
    if not RecordFolder(resume).database.is_file():
        raise UsageError(
            f"{resume} holds no search to go on with. Name the folder that the stopped command "
            "printed, or leave --resume out to begin anew."
        )
    return resume
