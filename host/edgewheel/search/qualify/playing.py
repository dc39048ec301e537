"""Plays the trials of a suite, one at a time, each on record before the next begins.

The number of a trial within its test and the suite's seed decide all that is drawn for it, so a
test is played the same alone as among others, and a suite that was stopped is taken up where it
was.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from random import Random
from typing import Any, Protocol, Self

from edgewheel.bench.plan import Plan
from edgewheel.bench.record_folder import read_summary
from edgewheel.bench.rig import Rig
from edgewheel.bench.runner import meta_of
from edgewheel.bench.search_record import FINGERPRINT, SearchRecord, Trial, search_folder
from edgewheel.clock import utc_stamp
from edgewheel.errors import BenchError, UsageError
from edgewheel.search.qualify.plan import QualifyPlan
from edgewheel.search.qualify.shown import Shown
from edgewheel.search.trial import SEEDS
from edgewheel.search.trials import SearchStopped, fingerprint

TEST = "test "
"""Before a test's name in the record's notes: what was asked in it."""

Play = Callable[[Rig, Plan], Shown | None]


class NotOnRecord(Exception):
    """A trial was asked for that is to come from the record, and is not there."""


class TrialSource(Protocol):
    """Where a test has its trials from."""

    plan: QualifyPlan

    def play(
        self,
        test: str,
        number: int,
        values: Mapping[str, str],
        plan_of: Callable[[int], Plan],
        play: Play,
    ) -> Trial:
        """A trial of a test; see `Player.play`."""


class Player:
    """The trials of one suite, with their record in a folder under `runs` or in `resume`.

    Raises UsageError where `resume` holds no record, or that of another suite.
    """

    def __init__(self, plan: QualifyPlan, runs: Path, resume: Path | None = None) -> None:
        self.plan = plan
        self.folder = search_folder(runs, plan.name, resume)
        self.rig = Rig()
        self.stopped = False
        self.meta: Mapping[str, str] = {}
        self.before: Mapping[str, Any] = _summary_in(self.folder)
        """The summary of a suite that was over, and is gone on with."""
        self._known: dict[str, Trial] = {}
        self._played: dict[str, list[Trial]] = {}

    def __enter__(self) -> Self:
        self._record = SearchRecord(self.folder)
        self._record.begin(self.plan.inputs, _meta(self.plan))
        self.meta = self._record.meta()
        known = self._record.trials()
        self._known = {trial.setting: trial for trial in known}
        self._next = len(known)
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(BenchError):
            self._record.close()

    def stop(self) -> None:
        """Park the outputs and start no other trial; may be called from a signal handler."""
        self.stopped = True
        self.rig.abort()

    def seed_of(self, test: str, number: int) -> int:
        """The seed of a trial."""
        return Random(f"{self.plan.seed} {test} {number}").randrange(SEEDS)

    def play(
        self,
        test: str,
        number: int,
        values: Mapping[str, str],
        plan_of: Callable[[int], Plan],
        play: Play,
    ) -> Trial:
        """A trial of a test, from the record if it is there. `plan_of` makes it from its seed.

        Raises SearchStopped, BenchError, FileError, UsageError.
        """
        setting = _setting(test, number, values)
        trial = self._known.get(setting)
        if trial is None:
            seed = self.seed_of(test, number)
            trial = self._play(setting, seed, plan_of(seed), play)
        return self._given(test, trial)

    def recall(self, test: str, number: int, values: Mapping[str, str]) -> Trial:
        """A trial of a test that is on record. Raises NotOnRecord."""
        trial = self._known.get(_setting(test, number, values))
        if trial is None:
            raise NotOnRecord
        return self._given(test, trial)

    def has(self, test: str) -> bool:
        """Whether any trial of a test is on record."""
        return any(json.loads(setting)["test"] == test for setting in self._known)

    def trials_of(self, test: str) -> list[Trial]:
        """The trials of a test that were asked for, in that order."""
        return self._played.get(test, [])

    def finish(self, summary: Mapping[str, object]) -> None:
        """The suite is over: write what it found."""
        self._record.finish(summary)

    def _given(self, test: str, trial: Trial) -> Trial:
        self._played.setdefault(test, []).append(trial)
        return trial

    def _play(self, setting: str, seed: int, plan: Plan, play: Play) -> Trial:
        if self.stopped:
            raise SearchStopped
        shown = play(self.rig, plan)
        if shown is None or self.stopped:
            raise SearchStopped
        seconds = float(plan.signal.motion.end_s)
        words = (shown.passed, shown.detail, shown.reason)
        trial = Trial(self._next, setting, seed, *words, seconds, shown.figures_text())
        self._record.add(trial)
        self._next += 1
        return trial


class Recorded:
    """The trials that a player has on record, and no others."""

    def __init__(self, player: Player) -> None:
        self.plan = player.plan
        self._player = player

    def play(
        self,
        test: str,
        number: int,
        values: Mapping[str, str],
        plan_of: Callable[[int], Plan],
        play: Play,
    ) -> Trial:
        """A trial of a test, nothing being played. Raises NotOnRecord."""
        return self._player.recall(test, number, values)


def _setting(test: str, number: int, values: Mapping[str, str]) -> str:
    """What tells a trial from all others of a suite."""
    return json.dumps({"test": test, "trial": number, **values})


def _summary_in(folder: Path) -> Mapping[str, Any]:
    """The summary in a folder; empty where none can be read."""
    try:
        return read_summary(folder)
    except UsageError:
        return {}


def _meta(plan: QualifyPlan) -> dict[str, str]:
    return {
        "kind": "qualify",
        **meta_of(plan.bench.plan),
        "name": plan.name,
        "seed": str(plan.seed),
        "began": utc_stamp(),
        FINGERPRINT: fingerprint(plan.inputs, str(plan.seed)),
        **{f"{TEST}{test.name}": test.asked for test in plan.tests},
    }
