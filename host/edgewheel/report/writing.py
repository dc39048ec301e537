"""A report on disk: HTML, JUnit XML and JSON, each written in one step."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from edgewheel.report.junit import junit_xml
from edgewheel.report.model import Report
from edgewheel.wholefile import write_whole

HTML, JUNIT, JSON = "report.html", "junit.xml", "report.json"


def write_html(report: Report, file: Path) -> None:
    """The page. Raises BenchError if the disk does not take it, UsageError without the extra."""
    from edgewheel.report.html import html

    write_whole(file, html(report))


def write_junit(report: Report, file: Path) -> None:
    """The JUnit file. Raises BenchError."""
    write_whole(file, junit_xml(report))


def write_json(report: Report, file: Path) -> None:
    """Verdicts and evidence as data. Raises BenchError."""
    write_whole(file, json.dumps(report_data(report), indent=1, allow_nan=False) + "\n")


def report_data(report: Report) -> dict[str, Any]:
    """For JSON: everything but drawings and copies of files, which lie beside it."""
    tests = []
    for test in report.tests:
        data = {key: value for key, value in vars(test).items() if key not in ("evidence", "cases")}
        cases = [asdict(case) for case in test.cases]
        tests.append({**data, "cases": cases, "evidence": list(test.evidence())})
    return {
        "schema": 1,
        "kind": report.kind,
        "title": report.title,
        "verdict": report.grade,
        "answer": report.answer,
        "tested": report.tested,
        "advice": [asdict(one) for one in report.advice],
        "facts": dict(report.facts),
        "repeat": report.repeat,
        "inputs": [file.name for file in report.files],
        "against": asdict(report.against) if report.against else None,
        "tests": tests,
    }
