"""The folder of a record: database, copies of the inputs, summary, and one refusal for all."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgewheel.errors import BenchError, UsageError
from edgewheel.wholefile import write_whole

DATABASE = "run.sqlite"
SUMMARY = "summary.json"


@dataclass(frozen=True)
class RecordFolder:
    """Where a record lies. Every method raises BenchError when the disk does not take it."""

    path: Path

    @property
    def database(self) -> Path:
        return self.path / DATABASE

    def make(self) -> sqlite3.Connection:
        """The folder and its database, made where they are not there yet; see `open`."""
        with self.or_refuse():
            self.path.mkdir(parents=True, exist_ok=True)
        return self.open()

    def open(self) -> sqlite3.Connection:
        """Its database; each statement stands by itself unless BEGIN is said."""
        with self.or_refuse():
            return sqlite3.connect(self.database, isolation_level=None)

    def copy_inputs(self, files: Iterable[tuple[str, str]]) -> None:
        """Keep the text of the input files under their names, each in full or as it was."""
        for name, text in files:
            write_whole(self.path / name, text)

    def close(self, database: sqlite3.Connection) -> None:
        """Fold the write-ahead log into the one file, so that this can be sent."""
        with self.or_refuse():
            database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            database.close()

    def write_summary(self, summary: Mapping[str, Any]) -> None:
        """Write the summary in one step: it is there in full or not at all."""
        write_whole(self.path / SUMMARY, json.dumps(summary, indent=2) + "\n")

    @contextmanager
    def or_refuse(self) -> Iterator[None]:
        """The one sentence for whatever the disk or the database refuses."""
        try:
            yield
        except (OSError, sqlite3.Error) as error:
            raise BenchError(
                f"The record in {self.path} cannot be written or read: {error}. Check the "
                "folder's rights and the space on the disk, or give another with --runs."
            ) from error


def is_record(folder: Path) -> bool:
    """Whether a folder holds a record, finished or not."""
    return RecordFolder(folder).database.is_file()


def read_summary(folder: Path) -> dict[str, Any]:
    """What a command left in a folder when it was over. Raises UsageError where there is none."""
    file = folder / SUMMARY
    try:
        summary = json.loads(file.read_text(encoding="utf-8"))
    except (FileNotFoundError, NotADirectoryError) as error:
        raise UsageError(
            f"{_lack(folder)}. Name a folder that an edgewheel command has printed as its record."
        ) from error
    except (OSError, ValueError) as error:
        raise UsageError(f"{file} cannot be read: {error}. Run the command again.") from error
    if not isinstance(summary, dict):
        raise UsageError(f"{file} is no summary of a run. Name the folder of a run.")
    return summary


def _lack(folder: Path) -> str:
    """Why a folder has no summary."""
    if folder.is_dir():
        return f"{folder} holds no finished run: there is no {SUMMARY} in it"
    return f"{folder} is a file" if folder.exists() else f"There is no folder {folder}"
