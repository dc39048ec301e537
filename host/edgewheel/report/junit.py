"""A report as JUnit XML, the way CI servers read it: one case a test, or one a point of it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree as Xml

from edgewheel.report.model import Case, Grade, Report, Test

_UNPRINTABLE = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What XML 1.0 (fifth edition), section 2.2, does not allow in a document."""


def junit_xml(report: Report) -> str:
    """The document. Failures carry the sentence; properties say what the result rests on.

    The times are seconds of the engine, not of the computer that may have simulated it faster.
    """
    suite = Xml.Element("testsuite", {"name": _clean(f"edgewheel {report.kind}: {report.title}")})
    properties = Xml.SubElement(suite, "properties")
    for name, value in (*report.facts, ("Repeat", report.repeat)):
        _property(properties, name, value)
    cases = [(test, case) for test in report.tests for case in _cases(test)]
    for test, case in cases:
        suite.append(_case(report, test, case))
    counts = {
        "tests": len(cases),
        "failures": sum(case.grade is Grade.FAILED for _, case in cases),
        "errors": sum(case.grade is Grade.ERROR for _, case in cases),
        "skipped": sum(case.grade is Grade.STOPPED for _, case in cases),
    }
    for name, count in counts.items():
        suite.set(name, str(count))
    suite.set("time", f"{sum(test.seconds for test in report.tests):.3f}")
    root = Xml.Element("testsuites", {name: str(count) for name, count in counts.items()})
    root.append(suite)
    Xml.indent(root)
    return Xml.tostring(root, encoding="unicode", xml_declaration=True) + "\n"


def _cases(test: Test) -> Iterator[Case]:
    if test.cases:
        yield from test.cases
    else:
        yield Case(test.title, test.grade, test.sentence)


def _case(report: Report, test: Test, case: Case) -> Xml.Element:
    seconds = test.seconds / max(len(test.cases), 1)
    element = Xml.Element(
        "testcase",
        {
            "classname": _clean(f"{report.kind}.{test.name}"),
            "name": _clean(case.name),
            "time": f"{seconds:.3f}",
        },
    )
    properties = Xml.SubElement(element, "properties")
    told = {
        "verdict": case.grade.value,
        "measured": test.measured,
        "limit": test.limit,
        "confidence": test.confidence,
        "trials": "" if test.trials is None else str(test.trials),
        "repeat": test.repeat,
    }
    for name, value in told.items():
        _property(properties, name, value)
    tags = {Grade.FAILED: "failure", Grade.ERROR: "error", Grade.STOPPED: "skipped"}
    if tag := tags.get(case.grade):
        problem = Xml.SubElement(element, tag, {"message": _clean(case.sentence)})
        if tag != "skipped":
            problem.set("type", case.grade.value)
            problem.text = _clean(f"{case.sentence}\nTo repeat it: {test.repeat}")
    Xml.SubElement(element, "system-out").text = _clean(case.sentence)
    return element


def _property(properties: Xml.Element, name: str, value: str) -> None:
    if value:
        Xml.SubElement(properties, "property", {"name": _clean(name), "value": _clean(value)})


def _clean(text: str) -> str:
    """Without what XML cannot hold, such as a controller's control characters."""
    return _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text)
