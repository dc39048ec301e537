"""Whether two samples of trials differ beyond their noise, and by which rule that is said.

Each measure of a suite is compared both ways, worse and better, with a probability that a
controller which has not changed would show as much by chance:

- a number searched for (trials that passed or failed at values): the posterior probability that
  the threshold moved the other way, under the model of `edgewheel.search.posterior` and an even
  prior that reaches half the range beyond either end. For a location with a flat prior it is the
  one-sided P value: G. Casella and R. L. Berger, "Reconciling Bayesian and frequentist evidence in
  the one-sided testing problem", JASA 82 (1987). It takes adaptive trials as they are, since their
  placement tells nothing beyond their outcomes;
- a number measured in each trial: H. B. Mann and D. R. Whitney, "On a test of whether one of two
  random variables is stochastically larger than the other", Ann. Math. Statist. 18 (1947), by its
  normal approximation, corrected for ties and continuity; what never came is larger than all;
- a share of trials: R. A. Fisher's exact test, "The logic of inductive inference", JRSS 98 (1935).

All these together are held to a false alarm in 5 % of comparisons by S. Holm, "A simple
sequentially rejective multiple test procedure", Scand. J. Statist. 6 (1979).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, erfc, sqrt

import numpy as np
import numpy.typing as npt

from edgewheel.search.posterior import (
    BEYOND,
    GENTLEST,
    STEEPEST,
    Answer,
    failing,
    log_evidence_even,
    posterior_of,
)

FALSE_ALARMS = 0.05
"""Of all comparisons of two runs of an unchanged controller, however many measures they have."""

THRESHOLDS, SLOPES = 401, 9
_T = np.linspace(-BEYOND, 1 + BEYOND, THRESHOLDS)
_S = np.geomspace(STEEPEST, GENTLEST, SLOPES)
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Searched:
    """Trials at places in [0, 1], where a higher threshold is better; `share` fails there."""

    answers: tuple[Answer, ...]
    share: float

    @property
    def has_threshold(self) -> bool:
        """Whether there is one that could move: not if trials fail now and then, as often anywhere.

        Where all of them do, or none, it lies beyond an end.
        """
        failed = sum(answer.failed for answer in self.answers)
        if failed in (0, len(self.answers)):
            return True
        posterior = posterior_of(self.answers, self.share)
        return posterior.log_evidence > log_evidence_even(self.answers)


@dataclass(frozen=True)
class Numbers:
    """A number of each trial; lower is better."""

    values: tuple[float, ...]


@dataclass(frozen=True)
class Hits:
    """How many trials were as they should be."""

    hits: int
    count: int


Observed = Searched | Numbers | Hits


@dataclass(frozen=True)
class Chance:
    """How probable such a change is if nothing changed: for the worse, and for the better."""

    worse: float
    better: float


def chance(before: Observed, after: Observed) -> Chance:
    """Of the same measure in two runs. Raises TypeError if the two are of different kinds."""
    if isinstance(before, Searched) and isinstance(after, Searched):
        return _moved(before, after)
    if isinstance(before, Numbers) and isinstance(after, Numbers):
        return Chance(larger(after.values, before.values), larger(before.values, after.values))
    if isinstance(before, Hits) and isinstance(after, Hits):
        return Chance(fewer(after, before), fewer(before, after))
    raise TypeError(f"{type(before).__name__} cannot be compared with {type(after).__name__}")


def holm(chances: Sequence[float], false_alarms: float = FALSE_ALARMS) -> list[bool]:
    """Which of a family of P values stand, so that any false one does by at most this chance."""
    stand = [False] * len(chances)
    for rank, index in enumerate(sorted(range(len(chances)), key=chances.__getitem__)):
        if chances[index] > false_alarms / (len(chances) - rank):
            break
        stand[index] = True
    return stand


def larger(values: Sequence[float], others: Sequence[float]) -> float:
    """The one-sided P value of Mann and Whitney: that `values` are not larger than `others`."""
    n, m = len(values), len(others)
    pooled = sorted([*values, *others])
    first = {value: rank for rank, value in reversed(list(enumerate(pooled)))}
    ties = Counter(pooled)
    rank_sum = sum(first[value] + (ties[value] + 1) / 2 for value in values)
    above = rank_sum - n * (n + 1) / 2 - n * m / 2
    tied = sum(count**3 - count for count in ties.values())
    variance = n * m / 12 * (n + m + 1 - tied / ((n + m) * (n + m - 1)))
    if variance <= 0:
        return 1.0
    return erfc((above - 0.5) / sqrt(2 * variance)) / 2


def fewer(one: Hits, other: Hits) -> float:
    """The one-sided P value of Fisher's exact test: that `one` has no smaller share of hits."""
    count, hits = one.count + other.count, one.hits + other.hits
    ways = [
        comb(one.count, k) * comb(other.count, hits - k)
        for k in range(max(hits - other.count, 0), one.hits + 1)
    ]
    return min(sum(ways) / comb(count, hits), 1.0)


def _moved(before: Searched, after: Searched) -> Chance:
    """The posterior probability of each order of the two thresholds."""
    old, new = _thresholds(before), _thresholds(after)
    higher = float(old @ (new[::-1].cumsum()[::-1] - new / 2))
    return Chance(worse=higher, better=1 - higher)


def _thresholds(searched: Searched) -> Floats:
    """The posterior of the threshold at `_T` (n,), the slope summed out."""
    tallies = Counter((answer.x, answer.failed) for answer in searched.answers)
    log = np.zeros((THRESHOLDS, SLOPES))
    for (x, failed), count in tallies.items():
        fails = failing(np.full((), x), _T[:, None], _S, searched.share)
        log += count * np.log(fails if failed else 1 - fails)
    weights = np.exp(log - log.max()).sum(axis=1)
    return np.asarray(weights / weights.sum())
