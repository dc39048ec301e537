"""The record of a run: a folder with copies of the inputs and one SQLite file, written as it goes.

Only bench writes it. What was committed survives a kill; `summary.json` is written last and
atomically, so a folder without one is a run that was cut off.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Any, Self

from edgewheel.bench.events import (
    Began,
    BoardSaid,
    Cut,
    Event,
    Pulsed,
    PulsesLost,
    RawBytes,
    Reported,
    SyncGained,
    SyncLost,
    Understood,
)
from edgewheel.bench.record_folder import RecordFolder
from edgewheel.clock import Clock, WallClock, utc_stamp
from edgewheel.errors import BenchError

SCHEMA_VERSION = 3
COMMIT_NS = 300_000_000
"""At most this much of the last part of a run is lost with the power."""

_SCHEMA = """
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE report (tick INTEGER NOT NULL, seconds REAL NOT NULL, text TEXT NOT NULL) STRICT;
CREATE TABLE line (number INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT;
CREATE TABLE pulse (tick INTEGER NOT NULL, line INTEGER NOT NULL, level INTEGER NOT NULL) STRICT;
CREATE TABLE board (tick INTEGER NOT NULL, state TEXT NOT NULL, reason TEXT NOT NULL,
                    played INTEGER NOT NULL) STRICT;
CREATE TABLE finding (seconds REAL NOT NULL, rpm REAL NOT NULL, kind TEXT NOT NULL,
                      cause TEXT NOT NULL, detail TEXT NOT NULL, reason TEXT NOT NULL) STRICT;
CREATE TABLE point (number INTEGER PRIMARY KEY, way TEXT NOT NULL, rpm REAL NOT NULL,
                    synced INTEGER NOT NULL, cause TEXT NOT NULL, detail TEXT NOT NULL,
                    reason TEXT NOT NULL) STRICT;
CREATE TABLE edit (tick INTEGER, track TEXT NOT NULL, by TEXT NOT NULL, kind TEXT NOT NULL,
                   level INTEGER, to_tick INTEGER, what TEXT NOT NULL) STRICT;
"""

_INSERTS = {
    "meta": "INSERT INTO meta VALUES (?, ?)",
    "report": "INSERT INTO report VALUES (?, ?, ?)",
    "line": "INSERT INTO line VALUES (?, ?)",
    "pulse": "INSERT INTO pulse VALUES (?, ?, ?)",
    "board": "INSERT INTO board VALUES (?, ?, ?, ?)",
    "finding": "INSERT INTO finding VALUES (?, ?, ?, ?, ?, ?)",
    "point": "INSERT INTO point VALUES (?, ?, ?, ?, ?, ?, ?)",
    "edit": "INSERT INTO edit VALUES (?, ?, ?, ?, ?, ?, ?)",
}


class Record:
    """The open record of one run. Raises BenchError when the disk does not take it."""

    def __init__(self, folder: Path, clock: Clock | None = None) -> None:
        self.folder = folder
        self._place = RecordFolder(folder)
        self._clock = clock or WallClock()
        self._rows: dict[str, list[tuple[Any, ...]]] = {table: [] for table in _INSERTS}
        self._lines: dict[str, int] = {}
        self._commit_at_ns = self._clock.now_ns() + COMMIT_NS
        self._database = self._place.make()
        with self._place.or_refuse():
            self._database.execute("PRAGMA journal_mode = WAL")
            self._database.execute("PRAGMA synchronous = NORMAL")
            self._database.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
            self._database.executescript(_SCHEMA)
            self._raw = (folder / "controller.log").open("ab")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(BenchError):
            self.close()

    def inputs(self, files: Iterable[tuple[str, str]], meta: Mapping[str, str]) -> None:
        """Copy the input files and note what else decides the run."""
        self._place.copy_inputs(files)
        with self._place.or_refuse():
            self._database.executemany(_INSERTS["meta"], meta.items())

    def event(self, event: Event) -> None:
        """Note what happened; it is on disk within `COMMIT_NS`."""
        if isinstance(event, RawBytes):
            with self._place.or_refuse():
                self._raw.write(event.data)
        elif isinstance(event, Began):
            self._rows["meta"] += [("tick_hz", str(event.tick_hz)), ("origin", str(event.tick))]
        elif isinstance(event, Pulsed):
            number = self._lines.get(event.line)
            if number is None:
                number = self._name_line(event.line)
            self._rows["pulse"].append((event.tick, number, event.level))
        elif isinstance(event, Reported):
            self._rows["report"].append((event.tick, event.seconds, event.text))
        elif isinstance(event, BoardSaid):
            self._rows["board"].append((event.tick, event.state, event.reason, event.played))
        elif isinstance(event, SyncGained):
            self._finding(event.seconds, event.rpm, "gained", "", "", "")
        elif isinstance(event, SyncLost):
            row = (event.cause.value, event.detail, event.reason)
            self._finding(event.seconds, event.rpm, "lost", *row)
        elif isinstance(event, Understood):
            self._rows["meta"].append(("reader", json.dumps(dict(event.counts))))
            self._rows["meta"].append(("clock", json.dumps(dict(event.clock))))
        elif isinstance(event, PulsesLost):
            detail = f"{event.count} edges of the outputs never came"
            self._finding(event.seconds, 0.0, "pulses_missing", "", detail, "")
        elif isinstance(event, Cut):
            self._finding(event.seconds, event.rpm, "sparks" if event.sparks else "cut", "", "", "")
        if self._clock.now_ns() >= self._commit_at_ns:
            self.commit()

    def row(self, table: str, *values: Any) -> None:
        """A row of `point` or `edit`, in the order of their columns."""
        self._rows[table].append(values)

    def _name_line(self, name: str) -> int:
        """Pulses are many, so they carry the number of their line."""
        number = self._lines[name] = len(self._lines) + 1
        self._rows["line"].append((number, name))
        return number

    def commit(self) -> None:
        """Bring everything noted to the disk."""
        self._commit_at_ns = self._clock.now_ns() + COMMIT_NS
        with self._place.or_refuse():
            self._raw.flush()
            self._database.execute("BEGIN")
            for table, rows in self._rows.items():
                self._database.executemany(_INSERTS[table], rows)
                rows.clear()
            self._database.execute("COMMIT")

    def finish(self, summary: Mapping[str, Any]) -> None:
        """Close the record, then write the summary in one step."""
        self.close()
        self._place.write_summary(summary)

    def close(self) -> None:
        """Bring all to the disk and fold the write-ahead log into the one file."""
        if self._raw.closed:
            return
        self.commit()
        with self._place.or_refuse():
            self._raw.close()
        self._place.close(self._database)

    def _finding(self, *row: Any) -> None:
        self._rows["finding"].append(row)


def run_folder(runs: Path, name: str) -> Path:
    """A new folder, called by the time in UTC and the run's name, made fit for any file system.

    It is made here, so that of several runs begun at once each has its own. Raises BenchError when
    the disk does not take it.
    """
    plain = "-".join("".join(c if c.isalnum() else " " for c in name.lower()).split())
    stem = f"{utc_stamp()}-{plain[:60]}"
    with RecordFolder(runs / stem).or_refuse():
        runs.mkdir(parents=True, exist_ok=True)
        for number in count(1):
            folder = runs / (stem if number == 1 else f"{stem}-{number}")
            with suppress(FileExistsError):
                folder.mkdir()
                break
    return folder
