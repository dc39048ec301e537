"""A test that varies one number: played by the threshold search, held against its limit.

Where nothing fails at either end of the range, the far end (the one towards which failures are
expected) is repeated until it proves its side, and places between are looked at: a controller may
fail in the middle and pass beyond. Then the search goes on below the first of these.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import inf
from typing import Any

from edgewheel.bench.search_record import Trial
from edgewheel.search.binomial import agreeing, clopper_pearson
from edgewheel.search.qualify.bounds import CONFIDENCE, Grade, Measured
from edgewheel.search.qualify.outcome import Outcome, interval, number
from edgewheel.search.qualify.plan import SearchTest
from edgewheel.search.qualify.playing import TrialSource
from edgewheel.search.seek import Limit, Seek
from edgewheel.search.threshold import Found

BETWEEN = (0.15, 0.3, 0.45, 0.6, 0.75, 0.9)
"""Where a range whose ends hold is looked at, from the near end on."""

MOST_AT_END = 16

STILL = 0.05
"""A limit at which a larger share of trials fails is marginal at best, however far from it as many
fail as were asked for.
"""


@dataclass(frozen=True)
class Tried:
    """A value and what a trial there showed."""

    value: float
    passed: bool
    detail: str


class SearchRun:
    """One such test: iterate over `steps()`, which tell how far it is, then ask `outcomes()`."""

    def __init__(self, test: SearchTest, source: TrialSource) -> None:
        self._test = test
        self._source = source
        self._axis = test.axis
        self._seek = Seek(_SeekTrials(self), test.axis, test.wanted)
        self._beyond = ""
        self.tried: list[Tried] = []

    def steps(self) -> Iterator[float]:
        """The share done after each trial. Raises what `TrialSource.play` raises."""
        yield from self._sought()
        if not self._holds:
            return
        for share in BETWEEN:
            if not self.play(self._text(share)).passed:
                yield from self._below(share)
                break
            yield 0.5
        while self._holds and not self._proved and self._at_end()[1] < MOST_AT_END:
            self.play(self._test.axis.text(self._place(1.0)))
            yield 0.8

    def play(self, text: str) -> Trial:
        """The next trial, at a value."""
        test, bench = self._test, self._source.plan.bench
        trial = self._source.play(
            test.name,
            len(self.tried),
            {test.axis.address: text},
            lambda seed: test.kind.plan(bench, text, seed),
            test.kind.play,
        )
        self.tried.append(Tried(float(text), trial.passed, trial.detail))
        return trial

    def outcomes(self) -> list[Outcome]:
        """The one outcome."""
        test, limit = self._test, self._seek.limit
        measured, sentence = self._measured(limit)
        grade = Grade.FAILED if measured is None else test.bound.grade(measured)
        still = limit.failing(test.bound.value, test.wanted.share) if limit.fails else 0.0
        if grade is Grade.PASSED and still > STILL:
            grade = Grade.MARGINAL
            sentence += f" At the limit itself about {still:.0%} of trials fail."
        return [
            Outcome(
                test.name,
                test.name_of(test.kind.measure),
                test.title_of(test.kind.measure),
                test.kind.measure,
                grade,
                sentence,
                measured,
                test.bound,
                len(self.tried),
                (self._evidence(limit),),
            )
        ]

    def _sought(self) -> Iterator[float]:
        for _ in self._seek.items():
            yield self._seek.share_done

    def _below(self, share: float) -> Iterator[float]:
        """Search again, up to a place at which it failed though the far end passes."""
        place, full = self._axis.value(self._place(share)), self._axis.high - self._axis.low
        if self._fails_high:
            self._axis = replace(self._axis, high=place)
        else:
            self._axis = replace(self._axis, low=place)
        within = self._test.wanted.within * full / (self._axis.high - self._axis.low)
        wanted = replace(self._test.wanted, within=min(within, 0.5))
        self._beyond = f"At {number(self._far, self._unit)} it passes again."
        self._seek = Seek(_SeekTrials(self), self._axis, wanted)
        yield from self._sought()

    @property
    def _unit(self) -> str:
        return self._test.kind.unit

    @property
    def _fails_high(self) -> bool:
        """The side on which the plan expects the failures."""
        return self._test.bound.sense == "at_least"

    @property
    def _far(self) -> float:
        """The value at the far end of the whole range."""
        return self._test.axis.value(1.0 if self._fails_high else 0.0)

    def _place(self, share: float) -> float:
        """A share of the way to the far end, as a share of the axis."""
        return share if self._fails_high else 1 - share

    def _text(self, share: float) -> str:
        return self._axis.text(self._place(share))

    @property
    def _holds(self) -> bool:
        """Nothing failed at either end."""
        limit = self._seek.limit
        return limit.estimate.found is Found.NONE and not limit.fails

    def _at_end(self) -> tuple[int, int]:
        """Failed and played at the far end."""
        here = [one.passed for one in self.tried if one.value == self._far]
        return here.count(False), len(here)

    @property
    def _proved(self) -> bool:
        """Whether it fails at the far end more seldom than what is sought."""
        failed, count = self._at_end()
        share, error = self._test.wanted.share, (1 - CONFIDENCE) / 2
        if count < 1 + agreeing(1 - share, error):
            return False
        return clopper_pearson(failed, count, CONFIDENCE)[1] < share

    def _measured(self, limit: Limit) -> tuple[Measured | None, str]:
        """The threshold with its interval, or none, and what there is to say."""
        estimate = limit.estimate
        if self._holds:
            return self._held()
        if not limit.is_known:
            return self._nowhere(limit)
        if estimate.fails_high != self._fails_high:
            side = "above" if estimate.fails_high else "below"
            at = number(limit.threshold, self._unit)
            return None, f"It fails {side} {at}, where it must not. {self._why()}"
        low = limit.low if estimate.low >= 0 else -inf
        high = limit.high if estimate.high <= 1 else inf
        measured = Measured(limit.threshold, low, high, self._unit)
        return measured, " ".join(filter(None, [_how(limit, measured), self._why(), self._beyond]))

    def _nowhere(self, limit: Limit) -> tuple[Measured | None, str]:
        """Trials failed, and no value within the range is the one at which enough of them do."""
        tried = f"{limit.fails} of {limit.fails + limit.passes} trials"
        ends = f"{self._axis.low:g} to {number(self._axis.high, self._unit)}"
        estimate = limit.estimate
        if estimate.found is Found.NONE:
            where = (
                "now and then wherever it was tried, from" if limit.passes else "at both ends of"
            )
            return None, f"It fails {where} {ends}: {tried}. {self._why()}"
        if estimate.found is Found.SEVERAL:
            return None, f"It has several limits from {ends}: {tried}. {self._why()}"
        beyond_high = estimate.threshold > 1
        if beyond_high == estimate.fails_high == self._fails_high:
            low, high = limit.at(estimate.low), limit.at(estimate.high)
            low, high = (low, inf) if beyond_high else (-inf, high)
            return Measured(self._far, low, high, self._unit), (
                f"At {number(self._far, self._unit)}, the end of what was searched, less than "
                f"{self._test.wanted.share:.0%} of trials fail ({tried} in all). {self._why()}"
            )
        return None, f"It fails too often everywhere from {ends}: {tried}. {self._why()}"

    def _held(self) -> tuple[Measured, str]:
        """Nothing brackets the limit: all that was tried holds."""
        far, (failed, count) = self._far, self._at_end()
        end = number(far, self._unit)
        if not self._proved:
            return Measured(far, -inf, inf, self._unit), (
                f"The limit could not be bracketed: at {end}, the end of what was searched, "
                f"{failed} of {count} trials failed, too many to say that it holds and too few to "
                "say that it fails. Widen 'vary:'."
            )
        ends = (far, inf) if self._fails_high else (-inf, far)
        seldom = f"{failed} of {count} trials failed" if failed else f"all {count} trials passed"
        others = sum(not one.passed for one in self.tried) - failed
        more = f" Before it {others} trials failed, too few for a limit." if others else ""
        return Measured(far, *ends, self._unit), (
            f"Not bracketed: at {end}, the end of what was searched, {seldom}. Where it fails is "
            f"not known.{more}"
        )

    def _why(self) -> str:
        """How the failure that is nearest to the limit showed."""
        failed = [one for one in self.tried if not one.passed]
        nearest = min(failed, key=lambda one: one.value if self._fails_high else -one.value)
        return f"At {number(nearest.value, self._unit)}: {nearest.detail}."

    def _evidence(self, limit: Limit) -> dict[str, Any]:
        passed = sum(one.passed for one in self.tried)
        return {
            "kind": "threshold",
            **limit.as_data(),
            "from": self._test.axis.low,
            "to": self._test.axis.high,
            "probability": self._test.wanted.share,
            "unit": self._unit,
            "passed_trials": passed,
            "failed_trials": len(self.tried) - passed,
            "trials": [vars(one) for one in self.tried],
        }


class _SeekTrials:
    """The trials of a test, as a threshold search asks for them."""

    def __init__(self, run: SearchRun) -> None:
        self._run = run
        self.done: list[Trial] = []

    def run(self, values: Mapping[str, str]) -> Trial:
        """The next trial."""
        (text,) = values.values()
        self.done.append(self._run.play(text))
        return self.done[-1]

    def finish(self, _: Mapping[str, Any]) -> None:
        """The suite has a summary of its own."""


def _how(limit: Limit, measured: Measured) -> str:
    side = "above" if limit.estimate.fails_high else "below"
    where = f"It fails {side} {number(measured.value, measured.unit)}"
    if limit.estimate.found is Found.BRACKET:
        return f"{where} ({interval(measured)}), the same in every trial."
    return f"{where}, gradually ({interval(measured)})."
