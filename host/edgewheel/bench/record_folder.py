"""The folder of a record: database, copies of the inputs, summary, and one refusal for all."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgewheel.errors import BenchError
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
        """Keep the text of the input files under their names."""
        with self.or_refuse():
            for name, text in files:
                (self.path / name).write_text(text, encoding="utf-8")

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
