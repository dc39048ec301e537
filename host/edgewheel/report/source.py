"""A folder that a command left: its summary, its inputs, its rows, and what its plan says."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from shlex import quote
from typing import Any

from edgewheel.bench.plan import CanController, Plan, SerialController, SimulatedController
from edgewheel.bench.record_folder import read_summary
from edgewheel.bench.rerun import plan_of_run
from edgewheel.errors import EdgewheelError, UsageError
from edgewheel.report.model import File
from edgewheel.report.words import listed, plain
from edgewheel.search.recorded import read_rows

INPUT_SUFFIXES = (".yaml", ".yml", ".csv", ".dbc", ".txt")
LONGEST_INPUT = 60_000
"""Characters of an input that the page holds; a motion of a million rows stays in the folder."""

_KINDS_BY_KEY = {"sweep": "sweep", "threshold": "threshold", "envelope": "envelope"}
_KINDS_BY_KEY |= {"diagnosis": "diagnose", "starts": "starts", "losses": "run"}


@dataclass(frozen=True)
class Source:
    """A folder with its summary. Nothing in it is written."""

    folder: Path
    summary: Mapping[str, Any]

    @property
    def kind(self) -> str:
        """Which command made it. Raises UsageError if nothing says so."""
        kind = self.summary.get("kind")
        if isinstance(kind, str):
            return kind
        for key, name in _KINDS_BY_KEY.items():
            if key in self.summary:
                return name
        raise UsageError(
            f"{self.folder / 'summary.json'} does not say which command made it. "
            "Name a folder that an edgewheel command has printed as its record."
        )

    @property
    def title(self) -> str:
        return str(self.summary.get("name") or self.folder.name)

    @property
    def bench_name(self) -> str:
        """The bench file's name in the folder: the summary's, or the one that reads as such."""
        named = str(self.summary.get("bench") or "")
        return (
            named or next(filter(self._is_bench, sorted(self.folder.glob("*.yaml"))), Path()).name
        )

    def _is_bench(self, file: Path) -> bool:
        try:
            return bool(plan_of_run(self.folder, file.name))
        except (EdgewheelError, OSError):
            return False

    @property
    def bench_path(self) -> str:
        """The bench file as a command takes it."""
        return quote(str(self.folder / self.bench_name)) if self.bench_name else "BENCH"

    @property
    def path(self) -> str:
        """The folder as a command takes it."""
        return quote(str(self.folder))

    @cached_property
    def plan(self) -> Plan | None:
        """The plan behind it; None if the copies cannot be read as one."""
        try:
            return plan_of_run(self.folder, self.bench_name)
        except (EdgewheelError, OSError):
            return None

    @cached_property
    def files(self) -> tuple[File, ...]:
        """The copies of the inputs, the bench file first."""
        names = [path for path in self.folder.iterdir() if path.suffix in INPUT_SUFFIXES]
        ordered = sorted(names, key=lambda path: (path.name != self.bench_name, path.name))
        return tuple(File(path.name, _text(path)) for path in ordered)

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Rows of the record; none where there is no such record or table."""
        file = self.folder / "run.sqlite"
        if not file.is_file():
            return []
        try:
            return read_rows(file, query)
        except sqlite3.Error:
            return []

    @property
    def turned_s(self) -> float:
        """For how many seconds the engine turned in all trials of the record."""
        found = self.rows("SELECT total(seconds) FROM trial")
        return float(found[0][0]) if found else 0.0

    def played_s(self, planned_s: float) -> float:
        """For how many seconds a run's table was played: as planned, unless the board ended before.

        As planned where the record does not say.
        """
        found = self.rows(
            "SELECT (max(board.tick) - origin.value) * 1.0 / hz.value "
            "FROM board, meta AS origin, meta AS hz "
            "WHERE origin.key = 'origin' AND hz.key = 'tick_hz'"
        )
        ended_s = found[0][0] if found else None
        return planned_s if ended_s is None else min(planned_s, max(float(ended_s), 0.0))

    def repeat(self, otherwise: str) -> str:
        """The command that was typed, or what comes to the same."""
        return str(self.summary.get("repeat") or otherwise)

    def facts(self) -> tuple[tuple[str, str], ...]:
        """What the result rests on: label and value."""
        told = [
            ("When", self.when),
            ("Controller", self.controller),
            ("Board", plain(self.summary.get("board")) or self._board),
            ("Seed", plain(self.summary.get("seed"))),
            ("edgewheel", plain(self.summary.get("edgewheel"))),
            ("Python", plain(self.summary.get("python"))),
            ("Folder", self.folder.name),
        ]
        return tuple((label, value) for label, value in told if value)

    @property
    def when(self) -> str:
        """When it began, in UTC: as the summary says, or as the folder is called."""
        stamp = str(self.summary.get("began") or self.folder.name.split("-")[0])
        if len(stamp) == 16 and stamp[8] == "T" and stamp.endswith("Z"):
            day, time = stamp[:8], stamp[9:15]
            return f"{day[:4]}-{day[4:6]}-{day[6:]} {time[:2]}:{time[2:4]}:{time[4:]} UTC"
        return str(self.summary.get("began") or "")

    @property
    def controller(self) -> str:
        """The controller in words."""
        told = self.summary.get("controller")
        if isinstance(told, str):
            return told
        match self.plan.controller if self.plan else None:
            case SimulatedController():
                return "the simulated one"
            case SerialController(port=port, baud=baud):
                return f"on the serial port {port} at {baud} baud"
            case CanController(interface=interface, channel=channel):
                return f"on CAN, {interface} {channel}"
        return ""

    @property
    def _board(self) -> str:
        if self.plan is None:
            return ""
        board = self.plan.board
        return "the simulated one" if board.kind == "sim" else board.port or "the one on USB"

    @property
    def setting(self) -> str:
        """On what it was tested, in one sentence: wheel, faults, board and controller."""
        plan = self.plan
        if plan is None:
            return ""
        parts = [f"The wheel is {plan.wheel.name} ({plan.wheel.summary})"]
        names = [f"{name} ({_kind_of(fault)})" for name, fault in plan.signal.faults.items()]
        if names:
            noun = "fault" if len(names) == 1 else "faults"
            parts.append(f"with the {noun} {listed(names)}")
        simulated = isinstance(plan.controller, SimulatedController)
        if simulated and plan.board.kind == "sim":
            parts.append("on the simulated bench: no real hardware was involved")
        else:
            parts.append(f"board: {self._board}; controller: {self.controller}")
        return ", ".join(parts) + "."


def open_source(folder: Path) -> Source:
    """A folder's summary. Raises UsageError if it has none that can be read."""
    return Source(folder, read_summary(folder))


def _kind_of(fault: object) -> str:
    name = type(fault).__name__
    return "".join(" " + c.lower() if c.isupper() else c for c in name).strip()


def _text(path: Path) -> str:
    with path.open(encoding="utf-8", errors="replace") as stream:
        text = stream.read(LONGEST_INPUT + 1)
    if len(text) > LONGEST_INPUT:
        return text[:LONGEST_INPUT] + "\n... the rest is in the folder ...\n"
    return text
