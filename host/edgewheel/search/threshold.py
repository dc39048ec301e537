"""The threshold: the value at which the controller fails with a stated probability.

Three rules, each taking over where the one before has no more to say, all trials kept:

1. Both ends of the range, which say on which side it fails.
2. Bisecting, while no trial contradicts another. When the bracket is as narrow as wanted, its ends
   are repeated until all that agree there prove that the threshold lies between them: then the
   controller is as good as deterministic, and nothing is quicker.
3. After the first contradiction, the placement that `edgewheel.search.posterior` describes.

This module asks for values and is told outcomes; it plays nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from math import inf

from edgewheel.search.binomial import agreeing
from edgewheel.search.posterior import Answer, Posterior, posterior_of

CONFIDENCE = 0.95
REPEATED_ENDS = 3
"""Trials at each end of the range that must agree before it is said that there is no threshold."""


class Found(StrEnum):
    """How a search ended."""

    BRACKET = "bracket"
    """It fails always on one side and never on the other, of a bracket as narrow as asked."""
    INTERVAL = "interval"
    """It fails more and more often; the interval is as narrow as asked."""
    TRIALS = "trials used up"
    """The interval is as narrow as the trials allowed."""
    NONE = "no threshold"
    """It fails at both ends of the range, or at neither."""


@dataclass(frozen=True)
class Wanted:
    """What is asked: the failing share, the width of the interval (of the range), most trials."""

    share: float = 0.5
    within: float = 0.01
    trials: int = 80


@dataclass(frozen=True)
class Estimate:
    """The answer, in shares of the range. `fails_high`: it fails towards the high end.

    `low` to `high` contains the threshold with 95 % confidence; `spread` is the logistic scale, 0
    for a bracket, since nothing between always and never was seen. For `Found.NONE` the three
    numbers mean nothing.
    """

    found: Found
    fails_high: bool
    low: float = 0.0
    threshold: float = 0.5
    high: float = 1.0
    spread: float = 0.0


@dataclass
class _Tally:
    passed: int = 0
    failed: int = 0


@dataclass
class ThresholdSearch:
    """Ask `next_place()`, try it, `tell()` it; `estimate()` whenever wanted."""

    wanted: Wanted
    _tallies: dict[float, _Tally] = field(default_factory=dict)
    _answers: list[tuple[float, bool]] = field(default_factory=list)
    _posterior: Posterior | None = None
    _fails_high: bool | None = None

    def __post_init__(self) -> None:
        error = (1 - CONFIDENCE) / 2
        share = self.wanted.share
        # At a bracket's passing end less than `share` must fail, at its failing end more.
        self._wanted_passes = 1 + agreeing(1 - share, error)
        self._wanted_fails = 1 + agreeing(share, error)

    def next_place(self) -> float | None:
        """Where in [0, 1] to try next; None when the search is over."""
        if len(self._answers) >= self.wanted.trials:
            return None
        if self._fails_high is None:
            return self._next_end()
        bracket = self._bracket()
        if bracket is not None:
            return self._within(*bracket)
        low, _, high = self._ready().interval(CONFIDENCE)
        if high - low <= self.wanted.within:
            return None
        place = self._ready().best_place()
        return place if self._fails_high else 1 - place

    def tell(self, place: float, failed: bool) -> None:
        """What a trial at a place showed."""
        self._answers.append((place, failed))
        tally = self._tallies.setdefault(place, _Tally())
        tally.failed += failed
        tally.passed += not failed
        if self._posterior is not None:
            self._posterior.add(self._answer(place, failed))
        if self._fails_high is None:
            self._fails_high = self._direction()

    def estimate(self) -> Estimate:
        """The answer from the trials so far."""
        if self._fails_high is None:
            return Estimate(Found.NONE, self._lean())
        bracket = self._bracket()
        if bracket is not None and self._proved(*bracket):
            low, high = sorted(bracket)
            return Estimate(Found.BRACKET, self._fails_high, low, (low + high) / 2, high)
        low, middle, high = self._ready().interval(CONFIDENCE)
        found = Found.INTERVAL if high - low <= self.wanted.within else Found.TRIALS
        if not self._fails_high:
            low, middle, high = 1 - high, 1 - middle, 1 - low
        return Estimate(found, self._fails_high, low, middle, high, self._ready().slope())

    def share_done(self) -> float:
        """How far the search is, from 0 to 1: an estimate."""
        tried = len(self._answers)
        bracket = self._bracket() if self._fails_high is not None else None
        if bracket is None:
            return tried / self.wanted.trials
        width, left = abs(bracket[1] - bracket[0]), 0
        while width > self.wanted.within:
            width, left = width / 2, left + 1
        return tried / (tried + left + self._wanted_passes + self._wanted_fails)

    def _next_end(self) -> float | None:
        """The ends by turns, until they differ or agree so often that there is no threshold."""
        low, high = (self._tallies.get(end, _Tally()) for end in (0.0, 1.0))
        counts = [low.passed + low.failed, high.passed + high.failed]
        if min(counts) >= REPEATED_ENDS:
            return None
        return 0.0 if counts[0] <= counts[1] else 1.0

    def _direction(self) -> bool | None:
        if len(self._tallies) < 2:
            return None
        low, high = self._tallies[0.0], self._tallies[1.0]
        difference = _failing(high) - _failing(low)
        return None if difference == 0 else difference > 0

    def _lean(self) -> bool:
        """Whether it fails at both ends."""
        return all(tally.failed > tally.passed for tally in self._tallies.values())

    def _bracket(self) -> tuple[float, float] | None:
        """The passing place and the failing place next to each other; None if trials contradict."""
        sign = 1 if self._fails_high else -1
        passed = max((sign * x for x, tally in self._tallies.items() if tally.passed), default=-inf)
        failed = min((sign * x for x, tally in self._tallies.items() if tally.failed), default=inf)
        return (sign * passed, sign * failed) if passed < failed else None

    def _within(self, passes: float, fails: float) -> float | None:
        """Bisect a bracket, or repeat its ends, or be content."""
        if abs(fails - passes) > self.wanted.within:
            return (passes + fails) / 2
        if self._proved(passes, fails):
            return None
        lacking_passes = self._wanted_passes - self._tallies[passes].passed
        lacking_fails = self._wanted_fails - self._tallies[fails].failed
        return passes if lacking_passes >= lacking_fails else fails

    def _proved(self, passes: float, fails: float) -> bool:
        return (
            abs(fails - passes) <= self.wanted.within
            and self._tallies[passes].passed >= self._wanted_passes
            and self._tallies[fails].failed >= self._wanted_fails
        )

    def _ready(self) -> Posterior:
        if self._posterior is None:
            answers = [self._answer(place, failed) for place, failed in self._answers]
            self._posterior = posterior_of(answers, self.wanted.share)
        return self._posterior

    def _answer(self, place: float, failed: bool) -> Answer:
        return Answer(place if self._fails_high else 1 - place, failed)


def _failing(tally: _Tally) -> float:
    return tally.failed / (tally.passed + tally.failed)
