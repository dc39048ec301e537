"""What all reports have in common."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

from edgewheel.errors import EdgewheelError
from edgewheel.report.model import Advice, Against, Evidence, Grade, Report, Test
from edgewheel.report.source import Source


def make_report(
    source: Source,
    grade: Grade,
    answer: str,
    tested: str,
    advice: Sequence[Advice],
    tests: Sequence[Test],
    against: Against | None = None,
    overview: Sequence[Evidence] = (),
) -> Report:
    """A report with the inputs and facts of its folder. Evidence is made once, when asked for."""
    plan = source.plan
    return Report(
        source.kind,
        source.title,
        grade,
        answer,
        tested,
        tuple(advice),
        tuple(replace(test, evidence=cache(test.evidence)) for test in tests),
        source.facts(),
        source.files,
        tests[0].repeat if len(tests) == 1 else source.repeat(tests[0].repeat if tests else ""),
        plan.wheel if plan else None,
        against,
        tuple(overview),
    )


def attempted(make: Callable[[], Sequence[Evidence]]) -> Sequence[Evidence]:
    """The evidence, or a sentence on why there is none: a folder that lost a part still tells."""
    try:
        return make()
    except EdgewheelError as error:
        return [{"kind": "words", "words": [f"Not shown here: {error}"]}]
