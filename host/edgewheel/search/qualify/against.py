"""A release against another: what got worse beyond the noise, what better, which verdict turned."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgewheel.bench.record_folder import DATABASE, read_summary
from edgewheel.bench.search_record import ALL_NOTES, ALL_TRIALS, Trial, trial_of
from edgewheel.errors import UsageError
from edgewheel.search.posterior import Answer
from edgewheel.search.qualify.bounds import Grade
from edgewheel.search.qualify.changes import (
    FALSE_ALARMS,
    Chance,
    Hits,
    Numbers,
    Observed,
    Searched,
    chance,
    holm,
)
from edgewheel.search.qualify.outcome import number
from edgewheel.search.qualify.plan import QualifyPlan, SampleTest, SearchTest, Test
from edgewheel.search.qualify.playing import TEST
from edgewheel.search.qualify.shown import shown
from edgewheel.search.recorded import read_rows

MEASURED = ("value", "low", "high", "unit")

RULE = (
    "A measure is named only if an unchanged controller would show as much by chance so seldom "
    f"that any false name comes in at most {FALSE_ALARMS:.0%} of comparisons (Holm's correction "
    "over all of them, worse and better): posterior order of thresholds, Mann and Whitney's test "
    "of numbers, Fisher's exact test of shares."
)


@dataclass(frozen=True)
class Judged:
    """What a suite's summary says of one measure."""

    title: str
    verdict: str
    sentence: str
    measured: Mapping[str, Any] | None

    @property
    def value(self) -> str:
        """The measured value in words."""
        if self.measured is None:
            return "nothing measurable"
        value, unit = self.measured["value"], self.measured["unit"]
        return "never" if value is None else number(value, unit)


@dataclass(frozen=True)
class Release:
    """A suite that was played: its trials by test, what was asked in each, what was judged."""

    folder: Path
    trials: Mapping[str, Sequence[Trial]]
    asked: Mapping[str, str]
    judged: Mapping[str, Judged]


def read_release(folder: Path, tests: Sequence[Test]) -> Release:
    """The suite in a folder, to hold these tests against.

    Raises UsageError where there is none, or none of the tests was played alike in it.
    """
    summary = read_summary(folder)
    if summary.get("kind") != "qualify":
        raise UsageError(f"{folder} is no suite. Name a folder that 'edgewheel qualify' made.")
    file = folder / DATABASE
    try:
        judged = judged_in(summary)
        trials = by_test([trial_of(row) for row in read_rows(file, ALL_TRIALS)])
        notes = read_rows(file, ALL_NOTES)
    except (KeyError, TypeError, ValueError, sqlite3.Error) as error:
        raise UsageError(
            f"The suite in {folder} is not whole ({error!r}). Was it edited, or made by another "
            "edgewheel? Play that release again."
        ) from error
    asked = {key.removeprefix(TEST): text for key, text in notes if key.startswith(TEST)}
    if not any(asked.get(test.name) == test.asked and test.name in trials for test in tests):
        raise UsageError(
            f"None of the tests to be played was played alike in {folder}, so nothing could be "
            "compared. Name a suite in which this plan's tests were played."
        )
    return Release(folder, trials, asked, judged)


def judged_in(summary: Mapping[str, Any]) -> dict[str, Judged]:
    """By the name of the measure. Raises KeyError, TypeError for what is no suite's summary."""
    found = {}
    for test in summary["tests"]:
        measured = test["measured"]
        known = None if measured is None else {key: measured[key] for key in MEASURED}
        found[test["name"]] = Judged(test["title"], test["verdict"], test["sentence"], known)
    return found


def by_test(trials: Sequence[Trial]) -> dict[str, list[Trial]]:
    """Trials by the test that they are of, in the order in which each was played."""
    found: dict[str, list[Trial]] = {}
    for trial in trials:
        found.setdefault(json.loads(trial.setting)["test"], []).append(trial)
    return found


def observed(test: Test, trials: Sequence[Trial]) -> dict[str, Observed]:
    """What the trials of a test say of each of its measures, by the name that the report uses."""
    if isinstance(test, SearchTest):
        sought = _searched(test, trials)
        return {test.name: sought} if sought.has_threshold else {}
    found: dict[str, Observed] = {}
    for measure in test.bounds:
        one = _sampled(test, measure, trials)
        if one is not None:
            found[test.name_of(measure)] = one
    return found


def compare(plan: QualifyPlan, before: Release, after: Release) -> dict[str, Any]:
    """What changed from one release to the other, as the summary keeps it."""
    pairs: dict[str, tuple[Observed, Observed]] = {}
    left_out: list[str] = []
    for test in plan.tests:
        if test.name not in after.trials:
            continue
        if before.asked.get(test.name) != test.asked:
            left_out.append(test.name)
            continue
        old, new = (_answered(test, one) for one in (before, after))
        pairs |= {name: (old[name], new[name]) for name in new if name in old}
        left_out += [name for name in map(test.name_of, test.bounds) if name not in pairs]
    worse, better = judge({name: chance(*pair) for name, pair in pairs.items()})
    return {
        "folder": str(before.folder),
        "rule": RULE,
        "compared": len(pairs),
        "not_compared": left_out,
        "worse": [_change(name, p, before, after) for name, p in worse],
        "better": [_change(name, p, before, after) for name, p in better],
        "verdicts": _turned(before.judged, after.judged),
    }


def _answered(test: Test, release: Release) -> dict[str, Observed]:
    """What a release's trials of a test say of the measures that could be judged in it."""
    return {
        name: one
        for name, one in observed(test, release.trials.get(test.name, ())).items()
        if name in release.judged and release.judged[name].verdict != Grade.ERROR
    }


def judge(
    chances: Mapping[str, Chance],
) -> tuple[list[tuple[str, float]], list[tuple[str, float]]]:
    """The measures that got worse and those that got better, each with its P value."""
    names = list(chances)
    stand = holm([chances[n].worse for n in names] + [chances[n].better for n in names])
    worse = [(n, chances[n].worse) for n, is_so in zip(names, stand, strict=False) if is_so]
    rest = stand[len(names) :]
    return worse, [(n, chances[n].better) for n, is_so in zip(names, rest, strict=True) if is_so]


def _searched(test: SearchTest, trials: Sequence[Trial]) -> Searched:
    """Mirrored where failures are expected below, so that a higher threshold is better."""
    answers = []
    for trial in trials:
        x = test.axis.share(float(json.loads(trial.setting)[test.axis.address]))
        mirrored = x if test.bound.sense == "at_least" else 1 - x
        answers.append(Answer(mirrored, not trial.passed))
    return Searched(tuple(answers), test.wanted.share)


def _sampled(test: SampleTest, measure: str, trials: Sequence[Trial]) -> Numbers | Hits | None:
    values = test.kind.values(measure, [shown(trial) for trial in trials])
    if not values:
        return None
    if test.kind.measures[measure].quantile is None:
        return Hits(sum(map(int, values)), len(values))
    sign = 1 if test.bounds[measure].sense == "at_most" else -1
    return Numbers(tuple(sign * value for value in values))


def _change(name: str, p: float, before: Release, after: Release) -> dict[str, Any]:
    """One measure that changed."""
    old, new = before.judged[name], after.judged[name]
    sentence = f"{new.title}: from {old.value} to {new.value}"
    if old.verdict != new.verdict:
        sentence += f", from {old.verdict} to {new.verdict}"
    return {
        "test": name,
        "sentence": f"{sentence}.",
        "before": old.measured,
        "after": new.measured,
        "p": p,
    }


def _turned(before: Mapping[str, Judged], after: Mapping[str, Judged]) -> list[dict[str, str]]:
    """Every verdict that is another one now, beyond the noise or not."""
    return [
        {
            "test": name,
            "before": before[name].verdict,
            "after": new.verdict,
            "sentence": f"{new.title}: from {before[name].verdict} to {new.verdict}.",
        }
        for name, new in after.items()
        if name in before and before[name].verdict != new.verdict
    ]
