"""`bench.qualify`: a declared suite on the bench of a test, each of its tests a subtest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from edgewheel.bench.copies import with_copies_of
from edgewheel.bench.plan import Plan
from edgewheel.errors import BenchError, UsageError
from edgewheel.search.qualify.against import read_release
from edgewheel.search.qualify.bench import bench_of
from edgewheel.search.qualify.bounds import Grade
from edgewheel.search.qualify.outcome import Outcome
from edgewheel.search.qualify.plan import QualifyPlan
from edgewheel.search.qualify.playing import Player
from edgewheel.search.qualify.qualification import Qualification
from edgewheel.search.qualify.reading import load_qualify, only
from edgewheel.yamlfile import Node, document_text, parse


class Suite:
    """A suite of a plan file, played on a bench that a test has. Raises FileError, UsageError."""

    def __init__(
        self, file: Path, bench_file: Path, plan: Plan, names: tuple[str, ...], seed: str
    ) -> None:
        suite = _on_bench(load_qualify(file), bench_file, plan)
        self._plan = _seeded(suite, plan.seed) if seed else suite
        self._tests = only(self._plan, list(names)) if names else self._plan.tests
        self.folder: Path | None = None
        self.grade = Grade.PASSED

    def play(self, subtests: pytest.Subtests, runs: Path, against: Path | None) -> None:
        """Play it; what failed, and what got worse since the suite in `against`, is a failure.

        Raises SearchStopped, BenchError.
        """
        before = read_release(against, self._tests) if against is not None else None
        with Player(self._plan, runs) as player:
            self.folder = player.folder
            copy = player.folder / self._plan.inputs[-1][0]
            suite = Qualification(player, self._tests, str(copy))
            for outcome in _outcomes(suite):
                with subtests.test(outcome.name):
                    _judge(outcome)
            changes = suite.against(before) if before is not None else None
            player.finish(suite.summary(changes))
            self.grade = suite.grade
        for change in changes["worse"] if changes else ():
            with subtests.test(f"{change['test']} against {against}"):
                pytest.fail(change["sentence"], pytrace=False)


def _outcomes(suite: Qualification) -> Iterator[Outcome]:
    for item in suite.items():
        if isinstance(item, Outcome):
            yield item


def _judge(outcome: Outcome) -> None:
    if outcome.grade is Grade.ERROR:
        raise BenchError(outcome.sentence)
    if outcome.grade is Grade.FAILED:
        pytest.fail(outcome.sentence, pytrace=False)


def _on_bench(suite: QualifyPlan, bench_file: Path, plan: Plan) -> QualifyPlan:
    """The suite on the bench of the test: its board, its controller, its values."""
    own = suite.bench.file
    if own.resolve() != bench_file.resolve():
        raise UsageError(
            f"{suite.file} is a plan for {own}, and this test's bench is {bench_file}. Mark the "
            f"test with @pytest.mark.edgewheel(bench=...) for that file."
        )
    inputs = with_copies_of(plan.inputs, "plan", [suite.file])
    return replace(suite, bench=bench_of(own, plan), inputs=inputs)


def _seeded(suite: QualifyPlan, seed: int) -> QualifyPlan:
    """The suite with another seed, in the copy of its file, too."""
    *others, (name, text) = suite.inputs
    document = parse(text, name)
    nodes = {**document.section().nodes, "seed": Node(document.place, str(seed))}
    played = name, document_text(replace(document, content=nodes))
    return replace(suite, seed=seed, inputs=(*others, played))
