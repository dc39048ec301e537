"""Shrinking: from a run in which the controller failed, the least that makes it fail alike.

All that the faults changed, or that a capture shows, is written as flips of the sound signal. Then,
trial by trial: does it fail again; does it pass without any; which of the flips up to there are
needed (`ddmin`); how late may the engine begin to turn, and how soon stop. Every trial is a row in
the run's record, so a search that was stopped goes on where it was: known trials are not done
again.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, log2
from pathlib import Path

from edgewheel.bench.failure import Failure, FailureWatch
from edgewheel.bench.plan import Plan, SimulatedController
from edgewheel.bench.rig import Rig
from edgewheel.bench.trials import TrialRow, Trials
from edgewheel.clock import Clock, WallClock
from edgewheel.errors import UsageError
from edgewheel.fault.diff import flips_of
from edgewheel.fault.flips import Flip
from edgewheel.fault.model import US_PER_S
from edgewheel.search.behind import behind_capture, way_round
from edgewheel.search.ddmin import Subset, ddmin
from edgewheel.search.recorded import RecordedRun, refuse_not_again
from edgewheel.search.stretch import GRAIN_S, Stretch, moved_flips, stretch_plan

VOTES = 3
"""Runs of a trial where a real controller may not do the same twice."""

SLACK_S = Fraction(1, 2)
"""Reports that come seldom tell a failure so much later."""

FINENESS = 50
"""A stretch is found to this part of its length."""

SOUND = "without any change"
SHORTER = "a shorter stretch"
UNPLAYABLE = "it cannot be played"


@dataclass(frozen=True)
class Trial:
    """Something to try: these flips of the list, within a stretch."""

    stage: str
    subset: Subset
    stretch: Stretch


@dataclass(frozen=True)
class ShrinkProgress:
    """How far it has come. `failed`: the last trial did, as the run; else `otherwise` says how it
    failed, empty if it passed. `expected` trials in all, if one change is the cause.
    """

    stage: str
    failed: bool
    otherwise: str
    done: int
    expected: int
    changes: int
    stretch: Stretch
    trial_s: float


@dataclass(frozen=True)
class ShrinkResult:
    """The answer: flips in the time of the whole run, none of which can be spared."""

    failure: Failure
    changes: int
    flips: tuple[Flip, ...]
    stretch: Stretch
    trials: int


Search = Generator[Trial, TrialRow, ShrinkResult]
Question = Generator[Trial, TrialRow, bool]


class Stopped(Exception):
    """The search was stopped by hand."""


class Shrink:
    """Shrinks one run. Iterate over `items()`, then read `result`; None if it was stopped.

    `votes` is how often each trial is run, an odd number; without, once on the simulated bench and
    three times on a real one. Raises UsageError if the folder is no run, or its run does not fail
    again.
    """

    def __init__(self, folder: Path, votes: int | None = None, clock: Clock | None = None) -> None:
        refuse_not_again(folder)
        self.plan = RecordedRun(folder).plan
        self._trials = Trials(folder)
        self._as_captured = self.plan if self.plan.signal.capture else None
        simulated = isinstance(self.plan.controller, SimulatedController)
        self.votes = votes or (1 if simulated and self.plan.board.kind == "sim" else VOTES)
        if self._as_captured:
            self.plan, self.flips = behind_capture(self._as_captured)
        else:
            self.flips = flips_of(self.plan.signal, self.plan.board.tick_hz)
        self._clock = clock or WallClock()
        self._wanted: Failure | None = None
        self._rig = Rig()
        self._stopped = False
        self._subset: Subset = tuple(range(len(self.flips)))
        self._stretch = Stretch(Fraction(0), self.plan.signal.motion.end_s)
        self._certain_s: float | None = None
        self.new_trials = 0
        self.known_trials = 0
        self.result: ShrinkResult | None = None

    def stop(self) -> None:
        """Park, forget the trial that is going on, and end. May be called from a signal handler."""
        self._stopped = True
        self._rig.abort()

    def items(self) -> Iterator[ShrinkProgress]:
        """Do the trials; progress after each. Raises BenchError, UsageError."""
        search = self._search()
        with self._trials:
            try:
                trial = next(search)
                while not self._stopped:
                    row = self._try(trial)
                    yield self._progress(trial, row)
                    trial = search.send(row)
            except Stopped:
                return
            except StopIteration as end:
                self.result = end.value

    def _search(self) -> Search:
        """The trials one after the other, and what they come to."""
        first = yield Trial("failing again", self._subset, self._stretch)
        if self._as_captured:
            self._refuse_unlike(first, self._as_captured)
        if not first.failed:
            raise UsageError(
                f"Played again with all its {len(self.flips)} changes, the run does not fail, so "
                f"there is nothing to shrink. {self._why_not()}"
            )
        self._wanted = Failure(first.found)
        if (yield from self._fails(SOUND, (), self._stretch)):
            self._subset = ()
        yield from self._end_at(first.found_s, self._slack_s)
        if self._subset:
            self._subset = yield from self._fewer()
        yield from self._end_at(self._certain_s, Fraction(0))
        yield from self._begin_later()
        yield from self._end_sooner()
        flips = tuple(self.flips[number] for number in self._subset)
        trials = self.new_trials + self.known_trials
        return ShrinkResult(self._wanted, len(self.flips), flips, self._stretch, trials)

    def _why_not(self) -> str:
        """What may have made the run fail that its changes do not."""
        if not self.plan.signal.voltage_faults:
            return "If the controller fails now and then, try --votes 9."
        names = " and ".join(f"'{name}'" for name in self.plan.signal.voltage_faults)
        return (
            f"A voltage that is too weak ({names}) changes no edge, so it was left out. Find how "
            "weak the controller takes it: edgewheel threshold BENCH "
            "faults.NAME.peak_mv_at_1000_rpm --from MV --to MV."
        )

    def _refuse_unlike(self, first: TrialRow, captured: Plan) -> None:
        """Raises UsageError unless the changed sound signal fails as the capture itself does."""
        wanted, _ = self._run(captured)
        found = first.found if first.failed else ""
        if wanted != found:
            raise way_round(
                f"the sound wheel with the {len(self.flips)} changes that the capture shows does "
                f"not fail alike: {found or 'no failure'} instead of {wanted or 'none'}"
            )

    @property
    def _slack_s(self) -> Fraction:
        """How much later fewer changes may fail, or be seen to fail, than all of them do."""
        limits = self.plan.limits
        patience_ms = max(limits.silence_ms, limits.speed_error_ms, limits.report_latency_ms)
        return Fraction(patience_ms / 1000).limit_denominator(1000) + SLACK_S

    def _fewer(self) -> Generator[Trial, TrialRow, Subset]:
        """The changes that are needed within the stretch, by `ddmin`."""
        end_us = self._stretch.end_s * US_PER_S
        inside = [number for number in self._subset if self.flips[number].from_us < end_us]
        search = ddmin(len(inside))
        try:
            chosen = next(search)
            while True:
                tried = tuple(inside[number] for number in chosen)
                failed = yield from self._fails("fewer changes", tried, self._stretch)
                if failed and len(tried) < len(self._subset):
                    self._subset = tried
                chosen = search.send(failed)
        except StopIteration as end:
            return tuple(inside[number] for number in end.value)

    def _end_at(
        self, certain_s: float | None, slack_s: Fraction
    ) -> Generator[Trial, TrialRow, None]:
        """End soon after the failure was certain, if it fails then."""
        if certain_s is None:
            return
        begin_s = self._stretch.begin_s
        end_s = (Fraction(certain_s) // GRAIN_S + 2) * GRAIN_S + slack_s
        if end_s < self._stretch.end_s and (yield from self._fails_in(begin_s, end_s)):
            self._stretch = Stretch(begin_s, end_s)

    def _end_sooner(self) -> Generator[Trial, TrialRow, None]:
        """Halve the end down to the soonest that fails."""
        begin_s, low, high = self._stretch.begin_s, self._stretch.begin_s, self._stretch.end_s
        while high - low > self._tolerance(high - begin_s):
            middle = _on_grain((low + high) / 2)
            if (yield from self._fails_in(begin_s, middle)):
                high = middle
            else:
                low = middle
        self._stretch = Stretch(begin_s, high)

    def _begin_later(self) -> Generator[Trial, TrialRow, None]:
        """Halve the begin up to the latest that fails, unless cams are timed from the first."""
        if self.plan.signal.motion.cams:
            return
        low, high, end_s = self._stretch.begin_s, self._stretch.end_s, self._stretch.end_s
        while high - low > self._tolerance(end_s - low):
            middle = _on_grain((low + high) / 2)
            if (yield from self._fails_in(middle, end_s)):
                low = middle
            else:
                high = middle
        self._stretch = Stretch(low, end_s)

    def _fails_in(self, begin_s: Fraction, end_s: Fraction) -> Question:
        stretch = Stretch(begin_s, end_s)
        return (yield from self._fails(SHORTER, self._subset, stretch))

    def _fails(self, stage: str, subset: Subset, stretch: Stretch) -> Question:
        """Whether it fails alike. One that never syncs must have had the time to, if sound."""
        row = yield Trial(stage, subset, stretch)
        failed = row.failed
        if failed and subset and self._wanted in (Failure.NEVER, Failure.LATE):
            sound = yield Trial(stage, (), stretch)
            failed = not sound.failed
        if failed and row.found_s is not None:
            self._certain_s = float(stretch.begin_s) + row.found_s
        return failed

    def _tolerance(self, length_s: Fraction) -> Fraction:
        return max(length_s / FINENESS, GRAIN_S)

    def _try(self, trial: Trial) -> TrialRow:
        """A trial's row: known, or found by running it as often as it takes for a majority."""
        key = self._key(trial)
        known = self._trials.find(key)
        if known is not None:
            self.known_trials += 1
            return known
        begun_ns = self._clock.now_ns()
        flips = [self.flips[number] for number in trial.subset]
        plan = stretch_plan(self.plan, trial.stretch, flips)
        found: list[tuple[str, float | None]] = []
        while not self._decided([name for name, _ in found]):
            found.append(self._run(plan))
        self.new_trials += 1
        row = self._row(trial, key, found, (self._clock.now_ns() - begun_ns) / 1e9)
        self._trials.add(row)
        return row

    def _row(
        self, trial: Trial, key: str, found: list[tuple[str, float | None]], seconds: float
    ) -> TrialRow:
        names = [name for name, _ in found]
        most = Counter(name for name in names if name).most_common(1)
        told = self._wanted or (most[0][0] if most else "")
        alike = [at for name, at in found if name == told and name in set(Failure)]
        return TrialRow(
            key,
            trial.stage,
            len(trial.subset),
            float(trial.stretch.begin_s),
            float(trial.stretch.end_s),
            2 * len(alike) > self.votes,
            len(found),
            str(told) if alike else (most[0][0] if most else ""),
            max((at for at in alike if at is not None), default=None),
            seconds,
        )

    def _decided(self, names: list[str]) -> bool:
        """Whether more runs cannot change the vote."""
        wanted = self._wanted or (Counter(filter(None, names)).most_common(1) or [("", 0)])[0][0]
        alike = sum(name == wanted for name in names if name)
        return 2 * alike > self.votes or 2 * (len(names) - alike) > self.votes

    def _run(self, plan: Plan) -> tuple[str, float | None]:
        """How one run fails, and when that is certain; empty if it does not."""
        watch = FailureWatch(plan.limits)
        try:
            with closing(self._rig.run(plan)) as events:  # type: ignore[type-var]
                for event in events:
                    watch.hear(event)
                    if self._stopped:
                        self._rig.abort()
                    elif watch.failure is not None:
                        break
        except UsageError:
            return UNPLAYABLE, None
        if self._stopped:
            raise Stopped
        return (watch.failure.value if watch.failure else ""), watch.certain_s

    def _key(self, trial: Trial) -> str:
        flips = moved_flips([self.flips[number] for number in trial.subset], trial.stretch)
        stretch = trial.stretch
        told = f"{stretch.begin_s} {stretch.end_s} {self.votes} {self._wanted} {flips}"
        return hashlib.sha256(told.encode()).hexdigest()

    def _progress(self, trial: Trial, row: TrialRow) -> ShrinkProgress:
        done = self.new_trials + self.known_trials
        halvings = ceil(log2(FINENESS))
        left = 2 * halvings
        if trial.stage == SHORTER and done > 3:
            left = halvings
        elif self._subset:
            left += 2 * ceil(log2(len(self._subset) + 1))
        return ShrinkProgress(
            trial.stage,
            row.failed,
            "" if row.failed else row.found,
            done,
            done + left,
            len(self._subset),
            self._stretch,
            row.seconds,
        )


def _on_grain(seconds: Fraction) -> Fraction:
    return seconds // GRAIN_S * GRAIN_S
