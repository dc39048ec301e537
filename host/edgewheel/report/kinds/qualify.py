"""The report of a qualified release: its tests, worst first, and what got worse."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from edgewheel.report.kinds.common import attempted, make_report
from edgewheel.report.kinds.suite_losses import SuiteLosses
from edgewheel.report.model import Advice, Against, Evidence, Grade, Report, Test
from edgewheel.report.pictures.looks import number
from edgewheel.report.source import Source
from edgewheel.report.words import listed, sentence, several
from edgewheel.search.qualify.sampling import NOT_POSSIBLE

MOST_NAMED = 4


def read_qualify(source: Source) -> Report:
    """The report of a qualify folder."""
    summary = source.summary
    losses = SuiteLosses(source)
    tests = tuple(_test(source, data, losses) for data in summary["tests"])
    grade = Grade(summary["verdict"])
    return make_report(
        source,
        grade,
        _answer(tests),
        _tested(source, tests),
        _advice(source, tests),
        tests,
        _against(summary.get("against")),
        [{"kind": "margins", "tests": [_margin(data) for data in summary["tests"]]}],
    )


def _test(source: Source, data: Any, losses: SuiteLosses) -> Test:
    measured = data.get("measured")
    confidence = data.get("confidence")
    return Test(
        str(data["name"]),
        str(data["title"]),
        Grade(data["verdict"]),
        sentence(str(data["sentence"])),
        measured=measured_words(measured),
        limit=_limit_words(data.get("limit"), data.get("marginal"), (measured or {}).get("unit")),
        confidence=f"{float(confidence):.0%} interval" if confidence and measured else "",
        trials=data.get("trials"),
        seconds=float(data.get("seconds") or 0),
        repeat=str(data.get("repeat") or source.repeat("")),
        evidence=lambda: _evidence(data, losses),
    )


def _evidence(data: Any, losses: SuiteLosses) -> list[Evidence]:
    """What the summary holds, and the signal where a search of a limit failed."""
    found = [_with_limit(one, data) for one in data.get("evidence") or []]
    sought = [one for one in found if one["kind"] == "threshold"]
    for one in sought:
        found += attempted(partial(losses.of, str(data["name"]), one))
    return found


def _with_limit(evidence: Evidence, data: Any) -> Evidence:
    """The evidence with the test's limit, where the picture has an axis of its unit."""
    unit, limit = (data.get("measured") or {}).get("unit"), (data.get("limit") or {}).get("value")
    shown = {
        "threshold": True,
        "starts": unit == "degrees",
        "points": unit is not None and (evidence.get("y") or {}).get("unit") == unit,
    }
    if limit is None or not shown.get(evidence["kind"]):
        return evidence
    return {**evidence, "limit": limit, "sense": data["limit"].get("sense")}


def _margin(data: Any) -> dict[str, Any]:
    measured, limit = data.get("measured") or {}, data.get("limit") or {}
    return {
        "title": str(data["title"]),
        "grade": str(data["verdict"]),
        "value": measured.get("value"),
        "low": measured.get("low"),
        "high": measured.get("high"),
        "limit": limit.get("value"),
        "sense": limit.get("sense"),
        "told": measured_words(data.get("measured")),
    }


def measured_words(measured: Any) -> str:
    """A value with its interval and unit; an end that is null is open."""
    if not measured:
        return ""
    value, low, high = (measured.get(key) for key in ("value", "low", "high"))
    unit = str(measured.get("unit") or "")
    told = f"{_figure(value)} {unit}".strip() if value is not None else "never"
    if low is None and high is None:
        return told
    if low is None or high is None:
        ends = f"up to {_figure(high)}" if low is None else f"{_figure(low)} or more"
    elif low == high:
        return told
    else:
        ends = f"{_figure(low)} to {_figure(high)}"
        if _figure(low) == _figure(high):
            return told
    return f"{told} ({ends})"


def _figure(value: Any) -> str:
    return number(float(value), 4 if abs(float(value)) < 1000 else 5)


def _limit_words(limit: Any, marginal: Any, unit: Any) -> str:
    if not limit or limit.get("value") is None:
        return ""
    told = f"{limit['sense'].replace('_', ' ')} {_figure(limit['value'])}"
    told += f" {unit}" if unit else ""
    return told + (f", marginal within {_figure(marginal)}" if marginal else "")


def _answer(tests: Sequence[Test]) -> str:
    words = {
        Grade.FAILED: "failed",
        Grade.ERROR: "could not be judged",
        Grade.MARGINAL: "marginal",
        Grade.PASSED: "passed",
    }
    told = []
    for grade, word in words.items():
        names = [test.title for test in tests if test.grade is grade]
        named = grade is not Grade.PASSED and len(names) <= MOST_NAMED
        told += [f"{len(names)} {word}" + (f" ({'; '.join(names)})" if named else "")] * bool(names)
    return f"Of {several(len(tests), 'test')}, {listed(told)}."


def _tested(source: Source, tests: Sequence[Test]) -> str:
    engine_s = source.summary.get("engine_seconds")
    turned = f", {number(float(engine_s) / 60, 3)} minutes of a turning engine" if engine_s else ""
    return (
        "How far a controller's crank and cam inputs can be trusted: "
        f"{several(len(tests), 'test')}{turned}. {source.setting}"
    )


def _advice(source: Source, tests: Sequence[Test]) -> list[Advice]:
    failed = [test for test in tests if test.grade is Grade.FAILED]
    errors = [test for test in tests if test.grade is Grade.ERROR]
    marginal = [test for test in tests if test.grade is Grade.MARGINAL]
    advice = [
        Advice(
            f"{test.title}: see what happens in its picture, mend it, and repeat this test.",
            test.repeat,
        )
        for test in failed[:MOST_NAMED]
    ]
    if len(failed) > len(advice):
        advice.append(Advice(f"Then the other {len(failed) - len(advice)} that failed, below."))
    lacking = [test for test in errors if test.sentence.startswith(NOT_POSSIBLE)]
    lost = [test for test in errors if test not in lacking]
    if lost:
        told = f"Nothing is said of the controller in {_named(lost)}: mend the bench first."
        advice.append(Advice(told, "edgewheel doctor"))
    if lacking:
        told = f"The bench does not give what these need, as they say: {_named(lacking)}."
        advice.append(Advice(told))
    if marginal:
        told = f"Inside the limit, but close to it or not known well enough: {_named(marginal)}."
        advice.append(Advice(f"{told} Decide if that is enough for the scatter of parts."))
    if not failed and not errors:
        mended = "" if marginal else "Nothing needs mending. "
        advice.append(
            Advice(
                f"{mended}Hold the next release against this one.",
                f"{source.repeat('edgewheel qualify PLAN')} --against {source.path}",
            )
        )
    return advice


def _named(tests: Sequence[Test]) -> str:
    """Some tests by their titles; of many, how many more."""
    titles = [test.title.lower() for test in tests[:MOST_NAMED]]
    more = len(tests) - len(titles)
    return listed([*titles, f"{more} more"] if more else titles)


def _against(data: Any) -> Against | None:
    if not data:
        return None
    return Against(
        str(data.get("folder", "")),
        tuple(str(one["sentence"]) for one in data["worse"]),
        tuple(str(one["sentence"]) for one in data["better"]),
        int(data["compared"]),
        tuple(map(str, data["not_compared"])),
    )
