"""What all reports have in common."""

from __future__ import annotations

from collections.abc import Sequence

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
    """A report with the inputs and facts of its folder."""
    plan = source.plan
    return Report(
        source.kind,
        source.title,
        grade,
        answer,
        tested,
        tuple(advice),
        tuple(tests),
        source.facts(),
        source.files,
        tests[0].repeat if len(tests) == 1 else source.repeat(tests[0].repeat if tests else ""),
        plan.wheel if plan else None,
        against,
        tuple(overview),
    )
