"""The report of a sweep."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from edgewheel.report.kinds.common import attempted, make_report
from edgewheel.report.kinds.run import (
    GRADES,
    run_advice,
    shrunk_tests,
    timing_evidence,
    waveform_evidence,
)
from edgewheel.report.model import Advice, Case, Evidence, Grade, Report, Test
from edgewheel.report.pictures.looks import number
from edgewheel.report.source import Source
from edgewheel.report.words import sentence
from edgewheel.search.sweep import sweep_plan


def read_sweep(source: Source) -> Report:
    """The report of a sweep: failed where sync did not hold at every point."""
    points = points_of(source)
    grade = _grade(source, points)
    found = source.summary.get("sweep") or {}
    highest = found.get("highest_rpm")
    answer = sentence(str(source.summary.get("sentence") or source.summary.get("detail", "")))
    test = Test(
        "sweep",
        "Highest speed in sync",
        grade,
        answer,
        measured=f"held up to {number(float(highest))} rpm" if highest is not None else "none",
        limit="sync at every speed of the staircase",
        trials=len(points),
        seconds=_seconds(source),
        repeat=source.repeat(f"edgewheel sweep {source.bench_path}"),
        evidence=lambda: _evidence(source, points),
        cases=tuple(_case(point) for point in points),
    )
    tests = (test, *shrunk_tests(source))
    return make_report(source, grade, answer, _tested(source), _advice(source, grade), tests)


def points_of(source: Source) -> list[dict[str, Any]]:
    """The points of the staircase, in the order played; without sync where it was lost on the way,
    too.
    """
    query = "SELECT way, rpm, synced AND cause = '', detail, reason FROM point ORDER BY number"
    rows = source.rows(query)
    return [
        {
            "way": way,
            "rpm": rpm,
            "synced": bool(synced),
            "detail": detail + (f" (it says: {reason})" if reason else ""),
        }
        for way, rpm, synced, detail, reason in rows
    ]


def _grade(source: Source, points: Sequence[dict[str, Any]]) -> Grade:
    outcome = GRADES.get(str(source.summary.get("outcome")), Grade.ERROR)
    if outcome in (Grade.ERROR, Grade.STOPPED):
        return outcome
    return Grade.PASSED if points and all(p["synced"] for p in points) else Grade.FAILED


def _seconds(source: Source) -> float:
    """How long the staircase took."""
    plan = source.plan
    if plan is None or plan.sweep is None:
        return 0.0
    return source.played_s(float(sweep_plan(plan)[0].signal.motion.end_s))


def _evidence(source: Source, points: list[dict[str, Any]]) -> list[Evidence]:
    highest = (source.summary.get("sweep") or {}).get("highest_rpm")
    found: list[Evidence] = [{"kind": "staircase", "points": points, "highest_rpm": highest}]
    for make in (waveform_evidence, timing_evidence):
        found += attempted(partial(make, source))
    return found


def _case(point: dict[str, Any]) -> Case:
    name = f"{number(point['rpm'])} rpm, on the way {point['way']}"
    if point["synced"]:
        return Case(name, Grade.PASSED, "sync held")
    return Case(name, Grade.FAILED, sentence(point["detail"] or "no sync"))


def _advice(source: Source, grade: Grade) -> list[Advice]:
    if grade is not Grade.FAILED:
        return run_advice(source, grade)
    found = source.summary.get("sweep") or {}
    low, high = found.get("highest_rpm"), found.get("dropped_rpm")
    told = run_advice(source, grade)
    if low is not None and high is not None:
        limit = f"edgewheel threshold {source.bench_path} speed --from {low:g} --to {high:g}"
        told.insert(1, Advice("Find the speed at which it fails, with its interval.", limit))
    return told


def _tested(source: Source) -> str:
    stairs = source.plan.sweep if source.plan else None
    span = ""
    if stairs is not None:
        span = f" from {float(stairs.low_rpm):,.0f} to {float(stairs.high_rpm):,.0f} rpm"
    return (
        f"At which speed the controller loses sync: one staircase of speeds{span}, up and down "
        f"again. {source.setting}"
    )
