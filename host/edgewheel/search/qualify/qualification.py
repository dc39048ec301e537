"""A suite from its first trial to its summary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from shlex import join
from typing import Any

from edgewheel.bench.plan import SimulatedController
from edgewheel.clock import Clock, WallClock
from edgewheel.errors import BenchError
from edgewheel.search.qualify.against import Judged, Release, compare, judged_in
from edgewheel.search.qualify.bounds import Grade, worst
from edgewheel.search.qualify.estimate import NOTHING, REAL_GAP_S, Cost, cost
from edgewheel.search.qualify.outcome import Outcome
from edgewheel.search.qualify.plan import QualifyPlan, SearchTest, Test
from edgewheel.search.qualify.playing import NotOnRecord, Player, Recorded, TrialSource
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

    `tests` are those of the plan that are played; what the record holds of the others is kept.
    `called` is how the plan is named in commands. A bench that is lost makes the test that was
    going on, and all after it, errors.
    """

    def __init__(
        self, player: Player, tests: Sequence[Test], called: str, clock: Clock | None = None
    ) -> None:
        self._player = player
        self._costs = {test.name: cost(player.plan, test) for test in tests}
        self._called = called
        self._clock = clock or WallClock()
        self._begun_ns = self._clock.now_ns()
        self.outcomes: list[Outcome] = []
        self.lost = ""
        """How the bench was lost, in words; empty if it was not."""

    def items(self) -> Iterator[Step | Outcome]:
        """Raises SearchStopped; what is on record can be taken up again."""
        behind = NOTHING
        for test in self._player.plan.tests:
            if test.name not in self._costs:
                found = self._kept(test)
            else:
                run = _run(test, self._player)
                own = self._costs[test.name]
                try:
                    for share in () if self.lost else run.steps():
                        yield Step(test.name, share, *self._done(behind + own * share))
                except BenchError as error:
                    self.lost = str(error)
                lost = f"The bench was lost: {self.lost}"
                found = _unanswered(test, lost) if self.lost else run.outcomes()
                behind += own
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
        trials = {name: player.trials_of(name) for name in self._judged}
        asked = {test.name: test.asked for test in player.plan.tests}
        judged = judged_in(self.summary())
        return compare(player.plan, before, Release(player.folder, trials, asked, judged))

    def summary(self, against: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """For the record and for JSON.

        `against` is what a comparison found; without one, that of the record stands.
        """
        player = self._player
        plan, judged = player.plan, self._judged
        turned_s = sum(map(self._turned_s, judged))
        count = sum(len(player.trials_of(name)) for name in judged)
        return {
            "kind": "qualify",
            "name": plan.name,
            "verdict": self.grade.value,
            **{key: player.meta[key] for key in ("edgewheel", "python", "bench")},
            "seed": plan.seed,
            "board": player.rig.board,
            "controller": _controller(plan),
            "began": player.meta["began"],
            "seconds": round((self._clock.now_ns() - self._begun_ns) / 1e9, 3),
            "engine_seconds": round(turned_s, 3),
            "real_seconds_estimate": round(turned_s + REAL_GAP_S * count, 1),
            "repeat": command(self._called, judged if len(judged) < len(plan.tests) else ()),
            "against": against or player.before.get("against"),
            "tests": [
                outcome.as_data(
                    command(self._called, [outcome.test]),
                    self._turned_s(outcome.test) / judged[outcome.test],
                )
                for outcome in self.outcomes
            ],
        }

    @property
    def _judged(self) -> Mapping[str, int]:
        """The tests that have outcomes, in their order, and how many each has."""
        return Counter(outcome.test for outcome in self.outcomes)

    def _turned_s(self, test: str) -> float:
        """For how many seconds the engine turned in a test."""
        return sum(trial.seconds for trial in self._player.trials_of(test))

    def _kept(self, test: Test) -> list[Outcome]:
        """What the record holds of a test that is not played now: nothing if it is not whole.

        A test that a lost bench had cut off stays the error that it was.
        """
        before = self._judged_before.get(test.name_of(next(iter(test.bounds))))
        if before is None and not self._player.has(test.name):
            return []
        run = _run(test, Recorded(self._player))
        try:
            for _ in run.steps():
                pass
        except NotOnRecord:
            return _unanswered(test, before.sentence) if before else []
        return run.outcomes()

    @cached_property
    def _judged_before(self) -> Mapping[str, Judged]:
        """What the summary that is gone on with says; nothing if there is no such summary."""
        try:
            return judged_in(self._player.before)
        except (KeyError, TypeError):
            return {}

    def _done(self, behind: Cost) -> tuple[float, float]:
        """The share of the whole, by what each test costs, and what is left in real time."""
        whole = sum(self._costs.values(), NOTHING)
        return behind.sim_s / max(whole.sim_s, 1e-9), whole.real_s - behind.real_s


def command(called: str, names: Iterable[str] = ()) -> str:
    """What is typed to play a plan, or only these of its tests, once more."""
    only = [word for name in names for word in ("--only", name)]
    return join(["edgewheel", "qualify", called, *only])


def whole_cost(plan: QualifyPlan, tests: Sequence[Test]) -> Cost:
    """Of all these tests."""
    return sum((cost(plan, test) for test in tests), NOTHING)


def _run(test: Test, source: TrialSource) -> SearchRun | SampleRun:
    return SearchRun(test, source) if isinstance(test, SearchTest) else SampleRun(test, source)


def _unanswered(test: Test, why: str) -> list[Outcome]:
    """What there is of a test during which, or before which, the bench was lost."""
    return [
        Outcome(
            test.name,
            test.name_of(measure),
            test.title_of(measure),
            measure,
            Grade.ERROR,
            why,
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
