"""A suite of tests, its table filling in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path

from edgewheel.console.search.job import Job, Stage
from edgewheel.search.qualify.outcome import Outcome, number
from edgewheel.search.qualify.plan import Test
from edgewheel.search.qualify.playing import Player
from edgewheel.search.qualify.qualification import Qualification, Step, command
from edgewheel.search.qualify.reading import load_qualify

SIGNS = {"passed": "○", "marginal": "△", "failed": "✗", "error": "!"}


class QualifyJob(Job):
    """Every test of a plan. Raises FileError for a plan that cannot be used."""

    name = "Qualify"
    fills_in = True
    plays_desk = False

    def __init__(self, file: Path, runs: Path, resume: Path | None = None) -> None:
        self.again = partial(QualifyJob, file, runs)
        self._plan = load_qualify(file)
        self._player = Player(self._plan, runs, resume)
        self.folder = self._player.folder
        self._called = str(file)
        self.command = command(self._called)

    def stages(self) -> Iterator[Stage]:
        found: dict[str, list[str]] = {test.name: [] for test in self._plan.tests}
        share, doing = 0.0, ""
        yield Stage(lines=table(self._plan.tests, found))
        with self._player:
            suite = Qualification(self._player, self._plan.tests, self._called)
            for item in suite.items():
                if isinstance(item, Step):
                    share, doing = item.share, f"{item.test} {item.share_of_test:.0%}"
                else:
                    found[item.test].append(row(item))
                yield Stage(share, doing, table(self._plan.tests, found))
            self._player.finish(suite.summary())
            self.lost_bench = bool(suite.lost)
        lines = table(self._plan.tests, found)
        yield Stage(1.0, "", lines, (), f"{suite.name}: {suite.grade.value}")

    def stop(self) -> None:
        self._player.stop()


def table(tests: Iterable[Test], found: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Every test in the plan's order, its measures by its name where it has been played."""
    waiting = "…         {test.name:26s} {test.title}"
    return tuple(row for test in tests for row in found[test.name] or [waiting.format(test=test)])


def row(outcome: Outcome) -> str:
    """One test on a line: verdict, measure, limit."""
    measured = outcome.measured
    value = number(measured.value, measured.unit) if measured else "–"
    grade = outcome.grade.value
    return f"{SIGNS[grade]} {grade:8s} {outcome.name:26s} {value:14s} {outcome.bound}"
