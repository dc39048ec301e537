"""A test that repeats one thing: its trials, and each of its measures against its limit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from math import inf

from edgewheel.bench.plan import Plan
from edgewheel.search.qualify.bench import QualifyBench
from edgewheel.search.qualify.bounds import Grade, Measured
from edgewheel.search.qualify.kinds import Statistic
from edgewheel.search.qualify.outcome import Outcome, interval, number
from edgewheel.search.qualify.plan import SampleTest
from edgewheel.search.qualify.playing import TrialSource
from edgewheel.search.qualify.sampling import MEDIAN, NOT_POSSIBLE
from edgewheel.search.qualify.shown import Shown, shown


class SampleRun:
    """One such test: iterate over `steps()`, which tell how far it is, then ask `outcomes()`."""

    def __init__(self, test: SampleTest, source: TrialSource) -> None:
        self._test = test
        self._source = source
        self._needs = test.kind.needs(source.plan.bench)
        self._shown: list[Shown] = []

    def steps(self) -> Iterator[float]:
        """The share done after each trial. Raises what `TrialSource.play` raises."""
        test, bench = self._test, self._source.plan.bench
        for index in range(0 if self._needs else test.trials):
            plan_of = partial(_plan, test, bench, index, self._shown)
            trial = self._source.play(test.name, index, {}, plan_of, test.kind.play)
            self._shown.append(shown(trial))
            yield (index + 1) / test.trials

    def outcomes(self) -> list[Outcome]:
        """One for each measure that has a limit."""
        return [self._outcome(measure) for measure in self._test.bounds]

    def _outcome(self, measure: str) -> Outcome:
        test, bound = self._test, self._test.bounds[measure]
        measured = test.kind.measured(measure, self._shown)
        if measured is None:
            grade, sentence = Grade.ERROR, self._needs or self._nothing()
        else:
            grade = bound.grade(measured)
            said = _said(test.kind.measures[measure], measured)
            more = test.kind.words(measure, self._shown)
            sentence = f"{said} ({interval(measured)}){'; ' + more if more else ''}."
        evidence = tuple(test.kind.evidence(measure, self._shown)) if self._shown else ()
        return Outcome(
            test.name,
            test.name_of(measure),
            test.title_of(measure),
            measure,
            grade,
            sentence,
            measured,
            bound,
            len(self._shown),
            evidence,
        )

    def _nothing(self) -> str:
        """Why no trial has the number."""
        details = {one.detail for one in self._shown}
        return f"{NOT_POSSIBLE}no trial shows it (" + "; ".join(sorted(details)[:3]) + ")."


def _plan(
    test: SampleTest, bench: QualifyBench, index: int, before: Sequence[Shown], seed: int
) -> Plan:
    return test.kind.plan(bench, index, seed, before)


def _said(statistic: Statistic, measured: Measured) -> str:
    value = number(measured.value, measured.unit)
    if statistic.quantile is None:
        return f"As it should be in {value}"
    share = "half" if statistic.quantile == MEDIAN else f"{statistic.quantile:.0%}"
    if measured.value == inf:
        return f"In fewer than {share} of the trials it comes at all"
    return f"{share.capitalize()} of the trials within {value}"
