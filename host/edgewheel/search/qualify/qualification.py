"""A suite from its first trial to its summary."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from edgewheel.bench.plan import SimulatedController
from edgewheel.clock import Clock, WallClock
from edgewheel.errors import BenchError
from edgewheel.search.qualify.against import Release, compare, judged_in
from edgewheel.search.qualify.bounds import Grade, worst
from edgewheel.search.qualify.estimate import NOTHING, REAL_GAP_S, Cost, cost
from edgewheel.search.qualify.outcome import Outcome
from edgewheel.search.qualify.plan import QualifyPlan, SearchTest, Test
from edgewheel.search.qualify.playing import Player
from edgewheel.search.qualify.sample_run import SampleRun
from edgewheel.search.qualify.search_run import SearchRun


@dataclass(frozen=True)
class Step:
    """How far a suite is: within which test, by what share of it and of the whole."""

    test: str
    share_of_test: float
    share: float
    real_left_s: float
    """What is left, on a bench in real time: an estimate."""


class Qualification:
    """Iterate over `items()`: each outcome when its test is over, and steps in between.

    `tests` are those of the plan that are played. A bench that is lost makes the test that was
    going on, and all after it, errors.
    """

    def __init__(
        self, player: Player, tests: Sequence[Test], command: str, clock: Clock | None = None
    ) -> None:
        self._player = player
        self._tests = tests
        self._command = command
        self._clock = clock or WallClock()
        self._costs = {test.name: cost(player.plan, test) for test in tests}
        self._begun_ns = self._clock.now_ns()
        self.outcomes: list[Outcome] = []

    def items(self) -> Iterator[Step | Outcome]:
        """Raises SearchStopped; what is on record can be taken up again."""
        lost = ""
        for index, test in enumerate(self._tests):
            run = _run(test, self._player)
            try:
                for share in () if lost else run.steps():
                    yield Step(test.name, share, *self._done(index, share))
            except BenchError as error:
                lost = str(error)
            found = _lost(test, lost) if lost else run.outcomes()
            self.outcomes += found
            yield from found

    @property
    def grade(self) -> Grade:
        """The verdict over all tests so far."""
        return worst([outcome.grade for outcome in self.outcomes])

    @property
    def name(self) -> str:
        """Of the plan."""
        return self._player.plan.name

    def against(self, before: Release) -> dict[str, Any]:
        """What changed since another release. Raises BenchError."""
        player = self._player
        trials = {name: player.trials_of(name) for name in {test.name for test in self._tests}}
        asked = {test.name: test.asked for test in player.plan.tests}
        judged = judged_in(self.summary())
        return compare(player.plan, before, Release(player.folder, trials, asked, judged))

    def summary(self, against: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """For the record and for JSON; `against` is what a comparison found."""
        player = self._player
        plan, trials = player.plan, player.all_trials
        turned_s = sum(trial.seconds for trial in trials)
        return {
            "kind": "qualify",
            "name": plan.name,
            "verdict": self.grade.value,
            **{key: player.meta[key] for key in ("edgewheel", "python")},
            "seed": plan.seed,
            "board": player.rig.board,
            "controller": _controller(plan),
            "began": player.meta["began"],
            "seconds": round((self._clock.now_ns() - self._begun_ns) / 1e9, 3),
            "engine_seconds": round(turned_s, 3),
            "real_seconds_estimate": round(turned_s + REAL_GAP_S * len(trials), 1),
            "repeat": self._command,
            "against": against,
            "tests": [
                outcome.as_data(f"{self._command} --only {outcome.test}")
                for outcome in self.outcomes
            ],
        }

    def _done(self, index: int, share: float) -> tuple[float, float]:
        """The share of the whole, by what each test costs, and what is left in real time."""
        costs = [self._costs[test.name] for test in self._tests]
        done = sum(costs[:index], NOTHING) + costs[index] * share
        whole = sum(costs, NOTHING)
        return done.sim_s / max(whole.sim_s, 1e-9), whole.real_s - done.real_s


def whole_cost(plan: QualifyPlan, tests: Sequence[Test]) -> Cost:
    """Of all these tests."""
    return sum((cost(plan, test) for test in tests), NOTHING)


def _run(test: Test, player: Player) -> SearchRun | SampleRun:
    return SearchRun(test, player) if isinstance(test, SearchTest) else SampleRun(test, player)


def _lost(test: Test, why: str) -> list[Outcome]:
    """What there is of a test during which, or before which, the bench was lost."""
    return [
        Outcome(
            test.name,
            test.name_of(measure),
            test.title_of(measure),
            measure,
            Grade.ERROR,
            f"The bench was lost: {why}",
            None,
            bound,
            0,
        )
        for measure, bound in test.bounds.items()
    ]


def _controller(plan: QualifyPlan) -> str:
    controller = plan.bench.plan.controller
    if isinstance(controller, SimulatedController):
        return "simulated"
    return type(controller).__name__
