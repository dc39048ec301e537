"""Plays the trials that a threshold search asks for, and puts its answer in the axis's units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import exp, log, nan
from typing import Any, Protocol

from edgewheel.bench.search_record import Trial
from edgewheel.search.axis import Axis
from edgewheel.search.threshold import Estimate, Found, ThresholdSearch, Wanted

SELDOM = 0.01
"""The share of trials that fails where a gradual limit is called safe."""


class PlaysTrials(Protocol):
    """Whatever plays the trials of a search, see `edgewheel.search.trials`."""

    done: list[Trial]

    def run(self, values: Mapping[str, str]) -> Trial:
        """The next trial, with these values set."""

    def finish(self, summary: Mapping[str, Any]) -> None:
        """The search is over."""


@dataclass(frozen=True)
class Limit:
    """A threshold in the units of its axis; see `Estimate`.

    An end that lies beyond the axis is told as the axis's own; all are nan where the threshold
    itself is not on it.

    `passes` and `fails` count trials.
    """

    axis: Axis
    estimate: Estimate
    passes: int
    fails: int

    @property
    def is_known(self) -> bool:
        """Whether the threshold lies on the axis."""
        return self.estimate.found not in (Found.NONE, Found.BEYOND, Found.SEVERAL)

    @property
    def low(self) -> float:
        return self.at(self.estimate.low) if self.is_known else nan

    @property
    def threshold(self) -> float:
        return self.at(self.estimate.threshold) if self.is_known else nan

    @property
    def high(self) -> float:
        return self.at(self.estimate.high) if self.is_known else nan

    @property
    def spread(self) -> float:
        """The logistic scale: 25 % and 75 % of trials fail 1.1 of it beside where half do."""
        return self.estimate.spread * (self.axis.high - self.axis.low)

    def as_data(self) -> dict[str, Any]:
        """For JSON; null where there is no threshold."""
        known = self.is_known
        return {
            "address": self.axis.address,
            "from": self.axis.low,
            "to": self.axis.high,
            "found": self.estimate.found.value,
            "fails": ("above" if self.estimate.fails_high else "below") if known else None,
            "threshold": self.threshold if known else None,
            "low": self.low if known else None,
            "high": self.high if known else None,
            "spread": self.spread if known else None,
            "passed_trials": self.passes,
            "failed_trials": self.fails,
        }

    def failing(self, value: float, probability: float) -> float:
        """The share of trials that fail at a value, by the curve through the threshold.

        `probability` is the share that fails there.
        """
        estimate = self.estimate
        past = self.axis.share(value) - estimate.threshold
        past = past if estimate.fails_high else -past
        if not estimate.spread:
            return float(past > 0)
        return 1 / (1 + exp(-past / estimate.spread - _logit(probability)))

    def sentence(self, probability: float) -> str:
        """The answer in words; `probability` is the share of failures that was asked for."""
        axis, found = self.axis, self.estimate.found
        tried = f"{self.passes + self.fails} trials, {self.fails} failed"
        if not self.is_known:
            return (
                f"There is no threshold of {axis.address} between {axis.low:g} and {axis.high:g}: "
                f"{self._why_none(probability)} ({tried})."
            )
        way = "above" if self.estimate.fails_high else "below"
        if found is Found.BRACKET:
            held, lost = (self.low, self.high) if way == "above" else (self.high, self.low)
            return (
                f"The controller fails {way} {axis.address} = {self.threshold:.6g}: at {held:.6g} "
                f"it held every time, at {lost:.6g} never; it behaves the same in every trial "
                f"({tried})."
            )
        return (
            f"The controller fails {way} {axis.address} = {self.threshold:.6g}: there "
            f"{_percent(probability)} of trials fail; 95 % interval {self._interval}, spread "
            f"{self.spread:.3g} ({tried}; {found})."
        )

    def _why_none(self, probability: float) -> str:
        """What the controller does where no threshold lies on the axis."""
        axis, estimate = self.axis, self.estimate
        if estimate.found is Found.BEYOND:
            side, end = ("above", axis.high) if estimate.threshold > 1 else ("below", axis.low)
            return f"{_percent(probability)} of trials fail at one {side} {end:g}"
        if estimate.found is Found.SEVERAL:
            return (
                "it fails elsewhere more often than at the end where it should most, so there are "
                "several limits; search a part of the range"
            )
        if self.passes and self.fails:
            return "the controller fails now and then wherever it was tried"
        how = "fails" if self.fails else "holds"
        return f"the controller {how} at both ends, and between them nothing was tried"

    @property
    def _interval(self) -> str:
        """The interval in words, open at an end that lies beyond the axis."""
        low = f"{'below ' * (self.estimate.low < 0)}{self.low:.6g}"
        return f"{low} to {'above ' * (self.estimate.high > 1)}{self.high:.6g}"

    def at(self, share: float) -> float:
        """The value at a share of the axis; its nearer end where that lies beyond."""
        return self.axis.low + min(max(share, 0.0), 1.0) * (self.axis.high - self.axis.low)


def safe_end(found: Mapping[str, Any], probability: float) -> float:
    """The value up to which the controller holds, from `Limit.as_data()` of a threshold.

    Of a bracket the end that held; of a gradual limit the value at which the share `SELDOM` of
    trials fails, if the threshold, where `probability` of them do, is at the near end of its
    interval.
    """
    before = float(found["spread"] or 0) * max(_logit(probability) - _logit(SELDOM), 0.0)
    above = found["fails"] == "above"
    return float(found["low"]) - before if above else float(found["high"]) + before


def _logit(share: float) -> float:
    return log(share / (1 - share))


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"


class Seek:
    """A threshold search on a bench: iterate over `items()`, then read `limit`."""

    def __init__(self, trials: PlaysTrials, axis: Axis, wanted: Wanted) -> None:
        if axis.whole:
            step = 1 / (axis.high - axis.low)
            wanted = replace(wanted, within=max(wanted.within, 1.001 * step))
        self._trials = trials
        self._axis = axis
        self._search = ThresholdSearch(wanted)

    @property
    def share_done(self) -> float:
        """How far it is, from 0 to 1: an estimate."""
        return self._search.share_done()

    @property
    def limit(self) -> Limit:
        """The answer of the trials so far."""
        failed = sum(not trial.passed for trial in self._trials.done)
        passed = len(self._trials.done) - failed
        return Limit(self._axis, self._search.estimate(), passed, failed)

    def items(self) -> Iterator[tuple[float, Trial]]:
        """Each value tried, and its trial. Raises what `Trials.run` raises."""
        while (place := self._search.next_place()) is not None:
            text = self._axis.text(place)
            trial = self._trials.run({self._axis.address: text})
            self._search.tell(self._axis.share(float(text)), not trial.passed)
            yield float(text), trial
        limit, share = self.limit, self._search.wanted.share
        found = {"threshold": limit.as_data(), "probability": share}
        self._trials.finish({"kind": "threshold", "sentence": limit.sentence(share), **found})
