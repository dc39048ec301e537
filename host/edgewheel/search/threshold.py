"""The threshold: the value at which the controller fails with a stated probability.

Three rules, each taking over where the one before has no more to say, all trials kept:

1. Both ends of the range, which say on which side it fails.
2. Bisecting, while no trial contradicts another. When the bracket is as narrow as wanted, its ends
   are repeated until all that agree there prove that the threshold lies between them: then the
   controller is as good as deterministic, and nothing is quicker.
3. After the first contradiction, the placement that `edgewheel.search.posterior` describes.

From then on it may turn out that the two first ends lied about the side, that the threshold lies
beyond the range, or that there is none, since a trial fails as often wherever it is: each if the
trials are more probable so (the ratio of evidences, H. Jeffreys, "Theory of Probability" (1939)).
Or that there are several, since an end is not as the curve through all trials has it.

This module asks for values and is told outcomes; it plays nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from math import inf, log

from edgewheel.search.binomial import agreeing, at_least
from edgewheel.search.posterior import (
    Answer,
    Posterior,
    failing_at,
    log_evidence_even,
    posterior_of,
)

CONFIDENCE = 0.95
REPEATED_ENDS = 3
"""Trials at each end of the range that must agree before it is said that there is no threshold."""

TELLING_ENDS = 8
"""Trials at each end before it is said that it fails as often everywhere."""

CONTRADICTED = 1e-3
"""What happens at an end more seldom than this by the curve, contradicts it."""

SURE = log(20)
"""From such odds on a thing is taken for granted, see `ThresholdSearch._odds`."""


class Found(StrEnum):
    """How a search ended."""

    BRACKET = "bracket"
    """It fails always on one side and never on the other, of a bracket as narrow as asked."""
    INTERVAL = "interval"
    """It fails more and more often; the interval is as narrow as asked."""
    TRIALS = "trials used up"
    """The interval is as narrow as the trials allowed."""
    BEYOND = "beyond the range"
    """It fails more and more often, but as often as asked only outside of the range."""
    SEVERAL = "several limits"
    """It passes at the failing end, or fails at the other, more often than one limit lets it."""
    NONE = "no threshold"
    """It fails at both ends of the range, or at neither, or as often wherever it was tried."""


@dataclass(frozen=True)
class Wanted:
    """What is asked: the failing share, the width of the interval (of the range), most trials."""

    share: float = 0.5
    within: float = 0.01
    trials: int = 80


@dataclass(frozen=True)
class Estimate:
    """The answer, in shares of the range. `fails_high`: it fails towards the high end.

    `low` to `high` contains the threshold with 95 % confidence, each below 0 or above 1 where it
    lies outside; `spread` is the logistic scale, 0 for a bracket, since nothing between always and
    never was seen. For `Found.NONE` and `Found.SEVERAL` the three numbers mean nothing.
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

    @property
    def count(self) -> int:
        return self.passed + self.failed


@dataclass
class ThresholdSearch:
    """Ask `next_place()`, try it, `tell()` it; `estimate()` whenever wanted."""

    wanted: Wanted
    _tallies: dict[float, _Tally] = field(default_factory=dict)
    _answers: list[tuple[float, bool]] = field(default_factory=list)
    _posteriors: dict[bool, Posterior] = field(default_factory=dict)
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
        return self._gradual()

    def tell(self, place: float, failed: bool) -> None:
        """What a trial at a place showed."""
        self._answers.append((place, failed))
        tally = self._tallies.setdefault(place, _Tally())
        tally.failed += failed
        tally.passed += not failed
        for fails_high, posterior in self._posteriors.items():
            posterior.add(_answer(place, failed, fails_high))
        if self._fails_high is None:
            self._fails_high = self._direction()
        elif self._bracket() is None:
            self._reconsider()

    def estimate(self) -> Estimate:
        """The answer from the trials so far."""
        if self._fails_high is None:
            return Estimate(Found.NONE, self._lean())
        bracket = self._bracket()
        if bracket is not None and self._proved(*bracket):
            low, high = sorted(bracket)
            return Estimate(Found.BRACKET, self._fails_high, low, (low + high) / 2, high)
        if bracket is None and self._is_even(self._odds()):
            return Estimate(Found.NONE, self._fails_high)
        if bracket is None and self._end_chance() < CONTRADICTED:
            return Estimate(Found.SEVERAL, self._fails_high)
        low, middle, high = self._ready().interval(CONFIDENCE)
        found = Found.INTERVAL if high - low <= self.wanted.within else Found.TRIALS
        if not 0 <= middle <= 1:
            found = Found.BEYOND
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
        ends = (self._tallies.get(end, _Tally()) for end in (0.0, 1.0))
        if min(tally.count for tally in ends) >= REPEATED_ENDS:
            return None
        return self._rarer_end()

    def _is_even(self, odds: float) -> bool:
        """Whether it fails as often everywhere, now and then at both ends, as far as they tell."""
        ends = [self._tallies.get(end, _Tally()) for end in (0.0, 1.0)]
        told = min(tally.count for tally in ends) >= TELLING_ENDS
        return odds < 0 and told and all(tally.passed and tally.failed for tally in ends)

    def _end_chance(self) -> float:
        """How probable it is, by the curve through all trials, that an end is as wrong as it was.

        1 while too few trials were at the ends to tell.
        """
        _, t, _ = self._ready().interval(CONFIDENCE)
        chances = [1.0]
        for end in (0.0, 1.0):
            tally = self._tallies.get(end if self._fails_high else 1 - end, _Tally())
            fails = failing_at(end, t, self._ready().slope(), self.wanted.share)
            wrong, chance = (tally.passed, 1 - fails) if end else (tally.failed, fails)
            if tally.count >= TELLING_ENDS:
                chances.append(at_least(wrong, tally.count, chance))
        return min(chances)

    def _rarer_end(self) -> float:
        """The end of the range that was tried less often."""
        low, high = (self._tallies.get(end, _Tally()).count for end in (0.0, 1.0))
        return 0.0 if low <= high else 1.0

    def _direction(self) -> bool | None:
        if len(self._tallies) < 2:
            return None
        low, high = self._tallies[0.0], self._tallies[1.0]
        difference = _failing(high) - _failing(low)
        return None if difference == 0 else difference > 0

    def _reconsider(self) -> None:
        """Change sides where the trials say so."""
        other = not self._fails_high
        if self._side(other).log_evidence > self._ready().log_evidence:
            self._fails_high = other

    def _odds(self) -> float:
        """The logarithm of how much more probable the trials are if it fails on one side than if it
        fails as often everywhere.
        """
        answers = [Answer(*answer) for answer in self._answers]
        return self._ready().log_evidence - log_evidence_even(answers)

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

    def _gradual(self) -> float | None:
        """Where a trial tells most; every third at an end, until it is clear that they differ."""
        low, _, high = self._ready().interval(CONFIDENCE)
        odds = self._odds()
        found = high - low <= self.wanted.within or low > 1 or high < 0
        if (odds > SURE and found) or (odds < -SURE and self._is_even(odds)):
            return None
        if self._end_chance() < CONTRADICTED**2:
            return None
        if odds < SURE and len(self._answers) % 3 == 0:
            return self._rarer_end()
        place = self._ready().best_place()
        return place if self._fails_high else 1 - place

    def _ready(self) -> Posterior:
        """The posterior of the side on which it fails."""
        return self._side(bool(self._fails_high))

    def _side(self, fails_high: bool) -> Posterior:
        if fails_high not in self._posteriors:
            answers = [_answer(*answer, fails_high) for answer in self._answers]
            self._posteriors[fails_high] = posterior_of(answers, self.wanted.share)
        return self._posteriors[fails_high]


def _answer(place: float, failed: bool, fails_high: bool) -> Answer:
    """An answer as the posterior has it, which fails at the high end."""
    return Answer(place if fails_high else 1 - place, failed)


def _failing(tally: _Tally) -> float:
    return tally.failed / tally.count
