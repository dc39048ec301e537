"""Plays the trials that a threshold search asks for, and puts its answer in the axis's units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Protocol

from edgewheel.bench.search_record import Trial
from edgewheel.search.axis import Axis
from edgewheel.search.threshold import Estimate, Found, ThresholdSearch, Wanted


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

    `passes` and `fails` count trials.
    """

    axis: Axis
    estimate: Estimate
    passes: int
    fails: int

    @property
    def low(self) -> float:
        return self._value(self.estimate.low)

    @property
    def threshold(self) -> float:
        return self._value(self.estimate.threshold)

    @property
    def high(self) -> float:
        return self._value(self.estimate.high)

    @property
    def spread(self) -> float:
        """The logistic scale: about half of all trials fail otherwise within 1.1 of it."""
        return self.estimate.spread * (self.axis.high - self.axis.low)

    def as_data(self) -> dict[str, Any]:
        """For JSON; null where there is no threshold."""
        known = self.estimate.found is not Found.NONE
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

    def sentence(self, probability: float) -> str:
        """The answer in words; `probability` is the share of failures that was asked for."""
        axis, estimate = self.axis, self.estimate
        tried = f"{self.passes + self.fails} trials, {self.fails} failed"
        if estimate.found is Found.NONE:
            how = "fails at both ends" if estimate.fails_high else "holds at both ends"
            return (
                f"There is no threshold of {axis.address} between {axis.low:g} and {axis.high:g}: "
                f"the controller {how} ({tried})."
            )
        way = "above" if estimate.fails_high else "below"
        if estimate.found is Found.BRACKET:
            held, lost = (self.low, self.high) if way == "above" else (self.high, self.low)
            return (
                f"The controller fails {way} {axis.address} = {self.threshold:.6g}: at {held:.6g} "
                f"it held every time, at {lost:.6g} never; it behaves the same in every trial "
                f"({tried})."
            )
        return (
            f"The controller fails {way} {axis.address} = {self.threshold:.6g}: there "
            f"{probability:.0%} of trials fail; 95 % interval {self.low:.6g} to {self.high:.6g}, "
            f"spread {self.spread:.3g} ({tried}; {estimate.found})."
        )

    def _value(self, share: float) -> float:
        return self.axis.low + share * (self.axis.high - self.axis.low)


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
