"""What trials say of a threshold, and where the next one says most.

The model: a trial at x fails with the probability

    lapse / 2 + (1 - lapse) F((x - t) / s + logit(p)),    F(z) = 1 / (1 + exp(-z)),

so t is the value at which the share p fails, s how gradual the change is. A grid of t and s carries
the posterior; the next trial goes where it is expected to reduce the entropy of t most: the
adaptive placement of L. L. Kontsevich and C. W. Tyler, "Bayesian adaptive estimation of
psychometric slope and threshold", Vision Research 39 (1999), with the slope as a nuisance that is
summed out first, after N. Prins, "The psi-marginal adaptive method", Journal of Vision 13 (2013).
The expected reduction is the mutual information of outcome and t, D. V. Lindley, "On a measure of
the information provided by an experiment", Annals of Mathematical Statistics 27 (1956).

Trials lie in [0, 1], the range searched; t may lie `BEYOND` either end of it, for nobody knows
beforehand that it does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import lgamma, log
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Reals = npt.NDArray[np.floating[Any]]

LAPSE = 0.002
"""The share of trials that answer by chance: a slip of the bench must not decide a search."""

BEYOND = 0.5
THRESHOLDS = 121
SLOPES = 17
PLACES = 49
STEEPEST, GENTLEST = 1 / 2000, 1 / 4
OUTSIDE = 1e-4
"""Mass of the posterior that may lie beyond the part of the grid that is kept."""


@dataclass(frozen=True)
class Answer:
    """A trial at `x` in [0, 1], and whether it failed."""

    x: float
    failed: bool


def failing(x: Reals, t: Reals, s: Reals, share: float) -> Floats:
    """The model above, elementwise."""
    z = np.clip((x - t) / s + log(share / (1 - share)), -500, 500)
    return np.asarray(LAPSE / 2 + (1 - LAPSE) / (1 + np.exp(-z)))


def failing_at(x: float, t: float, s: float, share: float) -> float:
    """The model above, at one place."""
    return float(failing(np.full((), x), np.full((), t), np.full((), s), share))


class Posterior:
    """The posterior of t and s on a grid that draws together as the trials do.

    `log_evidence` is the logarithm of how probable all its answers are, whatever t and s.
    The prior is even in t from -`BEYOND` to 1 + `BEYOND`, and in log s from `STEEPEST` to
    `GENTLEST`.
    """

    def __init__(self, share: float) -> None:
        self._share = share
        self._answers: list[Answer] = []
        self.log_evidence = 0.0
        self._slopes = np.geomspace(STEEPEST, GENTLEST, SLOPES)
        # How probable a failure is at each place for each t and s; made when it is asked for.
        self._table: Floats | None = None
        self._span(-BEYOND, 1 + BEYOND)

    def add(self, answer: Answer) -> None:
        """Take a trial into account."""
        self._answers.append(answer)
        likelihood = self._likelihood(answer)
        self.log_evidence += log(float((self._weights * likelihood).sum()))
        self._weigh(likelihood)
        self._draw_together()

    def best_place(self) -> float:
        """Where the next trial is expected to tell most of t."""
        if self._table is None:
            self._table = failing(
                self._places[:, None, None], self._thresholds[:, None], self._slopes, self._share
            )
        expected = np.einsum("xts,ts->xt", self._table, self._weights)
        share = self._weights.sum(axis=1)
        known = np.divide(expected, share, out=np.zeros_like(expected), where=share > 0)
        gain = _entropy(expected.sum(axis=1)) - _entropy(np.clip(known, 0, 1)) @ share
        return float(self._places[int(np.argmax(gain))])

    def interval(self, confidence: float = 0.95) -> tuple[float, float, float]:
        """Low end, median and high end of t, an equal tail beyond each end; any may lie outside of
        [0, 1].
        """
        tail = (1 - confidence) / 2
        below = np.concatenate([[0.0], np.cumsum(self._weights.sum(axis=1))])
        half = (self._thresholds[1] - self._thresholds[0]) / 2
        ends = np.concatenate([self._thresholds - half, [self._thresholds[-1] + half]])
        low, median, high = np.interp([tail, 0.5, 1 - tail], below, ends)
        return float(low), float(median), float(high)

    def slope(self) -> float:
        """The posterior's mean of log s, as s."""
        return float(np.exp(self._weights.sum(axis=0) @ np.log(self._slopes)))

    def _span(self, low: float, high: float) -> None:
        """Lay the grid over part of the range and weigh it by all trials so far."""
        step = (high - low) / THRESHOLDS
        self._thresholds = low + step * (np.arange(THRESHOLDS) + 0.5)
        margin = (high - low) / 2
        first, last = np.clip((low - margin, high + margin), 0, 1)
        self._places = np.linspace(first, last, PLACES)
        self._table = None
        self._weights = np.full((THRESHOLDS, SLOPES), 1 / (THRESHOLDS * SLOPES))
        for answer in self._answers:
            self._weigh(self._likelihood(answer))

    def _likelihood(self, answer: Answer) -> Floats:
        t = self._thresholds[:, None]
        fails = failing(np.full((), answer.x), t, self._slopes, self._share)
        return fails if answer.failed else 1 - fails

    def _weigh(self, likelihood: Floats) -> None:
        self._weights = self._weights * likelihood
        self._weights /= self._weights.sum()

    def _draw_together(self) -> None:
        """Lay the grid anew once nearly all of the posterior is on half of it."""
        below = np.cumsum(self._weights.sum(axis=1))
        first = int(np.searchsorted(below, OUTSIDE / 2))
        last = int(np.searchsorted(below, 1 - OUTSIDE / 2))
        step = self._thresholds[1] - self._thresholds[0]
        if 2 < last - first < THRESHOLDS // 2:
            low, high = self._thresholds[first] - 2 * step, self._thresholds[last] + 2 * step
            self._span(max(float(low), -BEYOND), min(float(high), 1 + BEYOND))


def posterior_of(answers: Sequence[Answer], share: float) -> Posterior:
    """The posterior after many trials."""
    posterior = Posterior(share)
    for answer in answers:
        posterior.add(answer)
    return posterior


def log_evidence_even(answers: Sequence[Answer]) -> float:
    """`Posterior.log_evidence` if a trial fails as often wherever it is, by an even prior of how
    often.
    """
    failed = sum(answer.failed for answer in answers)
    return lgamma(failed + 1) + lgamma(len(answers) - failed + 1) - lgamma(len(answers) + 2)


def _entropy(p: Floats) -> Floats:
    """Of an event of probability p, in nats."""
    p = np.clip(p, 1e-12, 1 - 1e-12)
    return np.asarray(-p * np.log(p) - (1 - p) * np.log(1 - p))
