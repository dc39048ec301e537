"""A release against another: what got worse beyond the noise, what better, which verdict turned."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgewheel.bench.search_record import SearchRecord, Trial
from edgewheel.errors import UsageError
from edgewheel.search.posterior import Answer
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

RULE = (
    "A measure is named only if an unchanged controller would show as much by chance so seldom "
    f"that any false name comes in at most {FALSE_ALARMS:.0%} of comparisons (Holm's correction "
    "over all of them, worse and better): posterior order of thresholds, Mann and Whitney's test "
    "of numbers, Fisher's exact test of shares."
)


@dataclass(frozen=True)
class Release:
    """A suite that was played: its trials by test, what was asked in each, its summary."""

    folder: Path
    trials: Mapping[str, Sequence[Trial]]
    asked: Mapping[str, str]
    summary: Mapping[str, Any]


def read_release(folder: Path) -> Release:
    """The suite in a folder. Raises UsageError where there is none, or it was cut off."""
    try:
        summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise UsageError(
            f"{folder} holds no finished suite. Name a folder that 'edgewheel qualify' made and "
            "finished."
        ) from error
    if summary.get("kind") != "qualify":
        raise UsageError(f"{folder} is no suite. Name a folder that 'edgewheel qualify' made.")
    with SearchRecord(folder) as record:
        trials, meta = record.trials(), record.meta()
    asked = {key.removeprefix(TEST): text for key, text in meta.items() if key.startswith(TEST)}
    return Release(folder, by_test(trials), asked, summary)


def by_test(trials: Sequence[Trial]) -> dict[str, list[Trial]]:
    """Trials by the test that they are of, in the order in which each was played."""
    found: dict[str, list[Trial]] = {}
    for trial in trials:
        found.setdefault(json.loads(trial.setting)["test"], []).append(trial)
    return found


def observed(test: Test, trials: Sequence[Trial]) -> dict[str, Observed]:
    """What the trials of a test say of each of its measures, by the name that the report uses."""
    if isinstance(test, SearchTest):
        return {test.name: _searched(test, trials)}
    several = len(test.bounds) > 1
    found: dict[str, Observed] = {}
    for measure in test.bounds:
        name = f"{test.name}.{measure}" if several else test.name
        one = _sampled(test, measure, trials)
        if one is not None:
            found[name] = one
    return found


def compare(plan: QualifyPlan, before: Release, after: Release) -> dict[str, Any]:
    """What changed from one release to the other, as the summary keeps it."""
    pairs: dict[str, tuple[Observed, Observed]] = {}
    left_out = []
    for test in plan.tests:
        if test.name not in after.trials:
            continue
        if before.asked.get(test.name) != test.asked or test.name not in before.trials:
            left_out.append(test.name)
            continue
        old, new = (observed(test, one.trials[test.name]) for one in (before, after))
        pairs |= {name: (old[name], new[name]) for name in new if name in old}
    worse, better = judge({name: chance(*pair) for name, pair in pairs.items()})
    told = _Telling(before.summary, after.summary)
    return {
        "folder": str(before.folder),
        "rule": RULE,
        "compared": len(pairs),
        "not_compared": left_out,
        "worse": [told.change(name, p) for name, p in worse],
        "better": [told.change(name, p) for name, p in better],
        "verdicts": told.verdicts(),
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


class _Telling:
    """Changes in words, from the numbers of both summaries."""

    def __init__(self, before: Mapping[str, Any], after: Mapping[str, Any]) -> None:
        self._before = {test["name"]: test for test in before["tests"]}
        self._after = {test["name"]: test for test in after["tests"]}

    def change(self, name: str, p: float) -> dict[str, Any]:
        """One measure that changed."""
        old, new = self._before[name], self._after[name]
        sentence = f"{new['title']}: from {_value(old)} to {_value(new)}"
        if old["verdict"] != new["verdict"]:
            sentence += f", from {old['verdict']} to {new['verdict']}"
        return {
            "test": name,
            "sentence": f"{sentence}.",
            "before": old["measured"],
            "after": new["measured"],
            "p": p,
        }

    def verdicts(self) -> list[dict[str, str]]:
        """Every verdict that is another one now, beyond the noise or not."""
        return [
            {
                "test": name,
                "before": self._before[name]["verdict"],
                "after": new["verdict"],
                "sentence": f"{new['title']}: from {self._before[name]['verdict']} to "
                f"{new['verdict']}.",
            }
            for name, new in self._after.items()
            if name in self._before and self._before[name]["verdict"] != new["verdict"]
        ]


def _value(test: Mapping[str, Any]) -> str:
    measured = test["measured"]
    if measured is None:
        return "nothing measurable"
    value, unit = measured["value"], measured["unit"]
    return "never" if value is None else number(value, unit)
