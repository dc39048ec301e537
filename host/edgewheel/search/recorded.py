"""A run folder read again: its plan from the copies of its inputs, its events from the record."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from edgewheel.bench.plan import Plan
from edgewheel.bench.record_folder import SUMMARY, read_summary
from edgewheel.bench.rerun import plan_of_run
from edgewheel.controller.lines import Fields, pairs
from edgewheel.errors import UsageError
from edgewheel.search.sweep import sweep_plan

Edges = tuple[npt.NDArray[np.float64], npt.NDArray[np.int64]]
"""Seconds after table tick 0, ascending, and the level from then on."""


@dataclass(frozen=True)
class Finding:
    """One finding of the judge: `kind` is gained, lost, cut, sparks (back) or pulses_missing."""

    seconds: float
    rpm: float
    kind: str
    cause: str
    detail: str
    reason: str


class RecordedRun:
    """A run that was recorded. Raises UsageError where the folder holds none.

    The database is opened for each question and never written.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._file = folder / "run.sqlite"
        if lack := self._lack():
            raise UsageError(
                f"{lack}. Name a folder that 'edgewheel run' or 'edgewheel sweep' made."
            )
        self.meta = dict(self._rows("SELECT key, value FROM meta"))
        if "tick_hz" not in self.meta or not self.meta.get("bench"):
            raise UsageError(
                f"The run in {folder} ended before the board started, so it has no time line. "
                "Name another run."
            )
        self.tick_hz = int(self.meta["tick_hz"])
        self.origin = int(self.meta["origin"])

    def _lack(self) -> str:
        """What the folder lacks to be that of a run; empty if nothing."""
        folder = self.folder
        if not self._file.is_file():
            return f"{folder} holds no run" if folder.is_dir() else f"There is no folder {folder}"
        tables = {name for (name,) in self._rows("SELECT name FROM sqlite_master")}
        if {"meta", "pulse"} <= tables:
            return ""
        what = "the record of many trials, not of one run" if "trial" in tables else "no record"
        return f"{folder} is {what}"

    @cached_property
    def plan(self) -> Plan:
        """What was played, a sweep with its motion."""
        plan = plan_of_run(self.folder, self.meta["bench"])
        ((points,),) = self._rows("SELECT count(*) FROM point")
        swept = points or not len(plan.signal.motion)
        return sweep_plan(plan)[0] if plan.sweep is not None and swept else plan

    def seconds(self, ticks: npt.NDArray[np.int64]) -> npt.NDArray[np.float64]:
        """Board ticks (n,) as seconds after table tick 0."""
        return (ticks - self.origin) / self.tick_hz

    def pulses(self) -> dict[str, Edges]:
        """The captured edges of each line."""
        lines = self._rows("SELECT name, number FROM line ORDER BY name")
        return {name: self._edges(number) for name, number in lines}

    def pulses_between(self, begin_s: float, end_s: float) -> list[tuple[float, str, int]]:
        """(seconds, line, level) of the captured edges of a stretch of time.

        Edges stand in the order of time, so the ends of the stretch are found by halving, in a
        record of any length.
        """
        first, last = (
            self._row_at(self.origin + round(s * self.tick_hz)) for s in (begin_s, end_s)
        )
        rows = self._rows(
            "SELECT tick, name, level FROM pulse JOIN line ON line = number "
            "WHERE pulse.rowid >= ? AND pulse.rowid < ? ORDER BY pulse.rowid",
            first,
            last,
        )
        return [((tick - self.origin) / self.tick_hz, name, level) for tick, name, level in rows]

    def _row_at(self, tick: int) -> int:
        """The first row of `pulse` at or after a tick, one beyond the last if there is none."""
        ((highest,),) = self._rows("SELECT max(rowid) FROM pulse")
        low, high = 1, (highest or 0) + 1
        while low < high:
            middle = (low + high) // 2
            ((here,),) = self._rows("SELECT tick FROM pulse WHERE rowid = ?", middle)
            low, high = (middle + 1, high) if here < tick else (low, middle)
        return low

    def reports(self, every: int = 1) -> Iterator[tuple[float, Fields]]:
        """(seconds, fields) of each report, or of one in `every`, in the order of arrival."""
        parse = self.plan.controller.listening.parse_text
        for seconds, text in self._rows(
            "SELECT seconds, text FROM report WHERE rowid % ? = 0 ORDER BY rowid", every
        ):
            yield seconds, parse(text) or pairs(text) or {}

    def findings(self) -> list[Finding]:
        """What the judge found, in the order of time."""
        columns = "seconds, rpm, kind, cause, detail, reason"
        return [Finding(*row) for row in self._rows(f"SELECT {columns} FROM finding")]

    def _edges(self, line: int) -> Edges:
        rows = self._rows("SELECT tick, level FROM pulse WHERE line = ? ORDER BY rowid", line)
        table = np.array(rows, np.int64).reshape(-1, 2)
        return self.seconds(table[:, 0]), table[:, 1]

    def _rows(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        try:
            return read_rows(self._file, query, *values)
        except sqlite3.Error as error:
            raise UsageError(
                f"{self._file} cannot be read: {error}. Name the folder of a run."
            ) from error


def refuse_not_again(folder: Path) -> None:
    """Raises UsageError for a live run that its bench file does not give again."""
    why = read_summary(folder).get("not_again") if (folder / SUMMARY).is_file() else None
    if why:
        raise UsageError(why)


def read_rows(file: Path, query: str, *values: Any) -> list[tuple[Any, ...]]:
    """Rows of a record. Raises sqlite3.Error.

    A finished record has no write-ahead log; it is read without one, so that no file comes to lie
    beside it and a folder that cannot be written is no hindrance.
    """
    finished = not file.with_name(f"{file.name}-wal").exists()
    how = "mode=ro&immutable=1" if finished else "mode=ro"
    with closing(sqlite3.connect(f"{file.absolute().as_uri()}?{how}", uri=True)) as database:
        return database.execute(query, values).fetchall()
