"""A suite of tests, its table filling in."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

from edgewheel.console.search.job import Job, Stage
from edgewheel.search.qualify.outcome import Outcome, number
from edgewheel.search.qualify.playing import Player
from edgewheel.search.qualify.qualification import Qualification, Step
from edgewheel.search.qualify.reading import load_qualify

SIGNS = {"passed": "○", "marginal": "△", "failed": "✗", "error": "!"}


class QualifyJob(Job):
    """Every test of a plan. Raises FileError for a plan that cannot be used."""

    name = "Qualify"

    def __init__(self, file: Path, runs: Path, resume: Path | None = None) -> None:
        self.again = partial(QualifyJob, file, runs)
        self._plan = load_qualify(file)
        self._file = file
        self._player = Player(self._plan, runs, resume)
        self.folder = self._player.folder

    def stages(self) -> Iterator[Stage]:
        rows = {test.name: f"…         {test.name:26s} {test.title}" for test in self._plan.tests}
        share, doing = 0.0, ""
        with self._player:
            suite = Qualification(self._player, self._plan.tests, str(self._file))
            for item in suite.items():
                if isinstance(item, Step):
                    share, doing = item.share, f"{item.test} {item.share_of_test:.0%}"
                else:
                    rows.pop(item.test, None)
                    rows[item.name] = row(item)
                yield Stage(share, doing, tuple(rows.values()))
            self._player.finish(suite.summary())
        yield Stage(1.0, "", tuple(rows.values()), (), f"{suite.name}: {suite.grade.value}")

    def stop(self) -> None:
        self._player.stop()


def row(outcome: Outcome) -> str:
    """One test on a line: verdict, measure, limit."""
    measured = outcome.measured
    value = number(measured.value, measured.unit) if measured else "–"
    grade = outcome.grade.value
    return f"{SIGNS[grade]} {grade:8s} {outcome.name:26s} {value:14s} {outcome.bound}"
