"""What the fixture `bench` is: a bench file, played, swept and searched, with a record of each."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from edgewheel.bench.plan import Plan, SimulatedController
from edgewheel.bench.runner import Runner
from edgewheel.bench.verdict import Outcome, Verdict
from edgewheel.errors import BenchError, UsageError
from edgewheel.pytest_plugin.choices import Choices
from edgewheel.pytest_plugin.document import (
    bench_file,
    chosen_document,
    plan_with,
    text_of,
    values_set,
)
from edgewheel.search.sweep import PointResult, Sweep, SweepResult
from edgewheel.yamlfile import Node, flow

if TYPE_CHECKING:
    from edgewheel.search.seek import Limit


class ControllerFailed(AssertionError):
    """The controller broke a limit; the text is the bench's sentence and the run's folder."""


class Bench:
    """One bench file on one board. What it plays is recorded in folders under `runs`.

    A controller that breaks a limit raises ControllerFailed; a board, cable or file that cannot be
    used raises what `edgewheel.errors` has for it, which the plugin makes an error of the test.
    """

    def __init__(
        self,
        document: Node,
        file: Path,
        values: Mapping[str, str],
        item: pytest.Item,
        subtests: pytest.Subtests,
        choices: Choices,
    ) -> None:
        self._document = document
        self._file = file
        self._values = dict(values)
        self._item = item
        self._subtests = subtests
        assert choices.runs is not None
        self._choices = choices
        self.runs = choices.runs
        self.plan = plan_with(document, file, values)

    def set(self, address: str, value: object) -> Bench:
        """The same bench with one value of its file changed, such as `faults.worn.delay_us`."""
        values = {**self._values, address: text_of(value)}
        return Bench(self._document, self._file, values, self._item, self._subtests, self._choices)

    def run(self, *, check: bool = True) -> Verdict:
        """Play the bench file's motion once. With `check`, a controller that fails is a failure."""
        __tracebackhide__ = True
        runner = Runner(self.plan, self.runs)
        for _ in runner.events():
            pass
        self.note("run", f"{runner.folder}: {runner.verdict.detail}")
        verdict = _judged(runner)
        if check and verdict.outcome is Outcome.FAILED:
            raise ControllerFailed(f"{verdict.detail}\nRecord: {runner.folder}")
        return verdict

    def sweep(self, *, check: bool = True) -> SweepResult:
        """Up and down the bench file's staircase of speeds, each point a subtest."""
        sweep = Sweep(self.plan, self.runs)
        for item in sweep.items():
            if isinstance(item, PointResult):
                with self._subtests.test(f"{float(item.point.rpm):g} rpm {item.point.way}"):
                    if check and not item.held:
                        pytest.fail(_words(item), pytrace=False)
        _judged(sweep.runner)
        result = sweep.result
        rpm = "none" if result.highest_rpm is None else f"{float(result.highest_rpm):g}"
        self.note("sweep", f"{sweep.runner.folder}: sync held up to {rpm} rpm")
        return result

    def threshold(
        self,
        address: str,
        low: float,
        high: float,
        *,
        share: float = 0.5,
        within: float = 0.01,
        trials: int = 80,
        speed: float | None = None,
    ) -> Limit:
        """The value of one number of the bench file, or of 'speed', at which the controller fails.

        As `edgewheel threshold`: `share` of the trials fail there; the search ends when the 95 %
        interval is `within` a share of the range, or after `trials`. `speed` in rpm replaces the
        bench file's motion.
        """
        from edgewheel.search.axis import make_axis, refuse_unvaried
        from edgewheel.search.seek import Seek
        from edgewheel.search.threshold import Wanted
        from edgewheel.search.trial import RunUp
        from edgewheel.search.trials import Trials

        axis = make_axis(address, Fraction(str(low)), Fraction(str(high)))
        refuse_unvaried(axis, self.plan.document)
        wanted = Wanted(share, within, trials)
        run_up = RunUp(None if speed is None else Fraction(str(speed)))
        asked = {"axis": repr(axis), "wanted": repr(wanted)}
        with Trials(self.plan, self._file, run_up, asked, self.runs) as played:
            seek = Seek(played, axis, wanted)
            for _ in seek.items():
                pass
        self.note("threshold", f"{played.folder}: {seek.limit.sentence(share)}")
        return seek.limit

    def qualify(self, plan: str | Path, *only: str) -> None:
        """A suite, as `edgewheel qualify`: each of its tests a subtest, marginal ones pass.

        `plan` is a file named from the folder of the test's module, whose bench file must be this
        bench's; `only` names some of its tests. With --edgewheel-against, what got worse since that
        suite fails, too.
        """
        from edgewheel.pytest_plugin.suite import Suite

        choices = self._choices
        file = self._item.path.parent / plan
        suite = Suite(file, self._file, self.plan, only, choices.seed)
        suite.play(self._subtests, self.runs, choices.against)
        self.note("qualify", f"{suite.folder}: {suite.grade.value}")

    def note(self, name: str, value: object) -> None:
        """A property of this test in the JUnit file."""
        self._item.user_properties.append((f"edgewheel.{name}", str(value)))

    def note_origin(self) -> None:
        """What decides this test, for the JUnit file."""
        plan = self.plan
        text = "\n".join(text for _, text in plan.inputs)
        self.note("bench", self._file)
        self.note("inputs.sha256", hashlib.sha256(text.encode()).hexdigest())
        self.note("wheel", plan.wheel.name)
        self.note("controller", _controller(plan))
        self.note("seed", plan.seed)
        for address, value in self._values.items():
            self.note(f"set.{address}", value)


def open_bench(item: pytest.Item, choices: Choices, subtests: pytest.Subtests) -> Bench:
    """The bench of a test. Raises FileError, UsageError; skips what needs another bench."""
    file = bench_file(item, choices)
    document = chosen_document(file, choices)
    kind = document.section().required("controller").section().required("kind").text()
    if kind != "sim" and not choices.real_board:
        pytest.skip(
            f"{file.name} has a real controller: give --edgewheel-board auto or a port, or a "
            "simulated one with --edgewheel-controller FILE"
        )
    bench = Bench(document, file, values_set(item), item, subtests, choices)
    bench.note_origin()
    return bench


def _judged(runner: Runner) -> Verdict:
    """The verdict of a run that the bench went through with. Raises BenchError, UsageError."""
    verdict = runner.verdict
    if verdict.outcome is Outcome.ERROR:
        raise BenchError(f"{verdict.detail}. Record: {runner.folder}")
    if verdict.outcome is Outcome.ABORTED:
        raise UsageError(f"The run was stopped by hand. Record: {runner.folder}")
    return verdict


def _words(result: PointResult) -> str:
    if result.lost is None:
        return "no sync"
    says = f" (it says: {result.lost.reason})" if result.lost.reason else ""
    return f"sync lost at {result.lost.rpm:.0f} rpm: {result.lost.detail}{says}"


def _controller(plan: Plan) -> str:
    """The controller in a word, and the digest of its section, so that two can be told apart."""
    node = plan.document.section().nodes["controller"]
    digest = hashlib.sha256(flow(node).encode()).hexdigest()[:12]
    kind = "simulated" if isinstance(plan.controller, SimulatedController) else "real"
    return f"{kind}, {digest}"
