"""The report of one run, and of a sweep, which is one run up and down a staircase."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from shlex import quote
from typing import Any

from edgewheel.bench.truth import Truth
from edgewheel.report.kinds.common import attempted, make_report
from edgewheel.report.model import Advice, Evidence, Grade, Report, Test
from edgewheel.report.source import Source
from edgewheel.report.words import sentence
from edgewheel.search.recorded import RecordedRun
from edgewheel.search.timing import timing_of
from edgewheel.search.timing_data import timing_data
from edgewheel.search.timing_page import meaning
from edgewheel.search.waveform import waveform_around

GRADES = {
    "passed": Grade.PASSED,
    "failed": Grade.FAILED,
    "error": Grade.ERROR,
    "aborted": Grade.STOPPED,
}
UNKNOWN = "Not known"
"""What a run cannot tell of the timing, since it was not made for that, is left to `timing`."""

SHRUNK = "shrunk.yaml"
MOST_PULSES = 2_000_000
MOST_POINTS = 1500
"""Of a line in a picture; a screen has no more columns."""


def read_run(source: Source) -> Report:
    """The report of a run, also of one that was steered by hand."""
    grade = GRADES.get(str(source.summary.get("outcome")), Grade.ERROR)
    answer = sentence(str(source.summary.get("detail", "")))
    test = Test(
        "run",
        "Sync found and kept",
        grade,
        answer,
        measured=_first_sync(source),
        limit=_limit(source),
        repeat=_repeat(source),
        seconds=_seconds(source),
        evidence=lambda: run_evidence(source),
    )
    tests = (test, *shrunk_tests(source))
    return make_report(source, grade, answer, _tested(source), run_advice(source, grade), tests)


def run_evidence(source: Source) -> list[Evidence]:
    """Speed, the waveform around the first loss, and the timing if outputs were captured.

    Without the waveform of a live run whose bench file does not give its edges again.
    """
    found: list[Evidence] = []
    makers = (waveform_evidence, speed_evidence, timing_evidence)
    for make in makers[1:] if source.summary.get("not_again") else makers:
        found += attempted(partial(make, source))
    return found


def waveform_evidence(source: Source) -> Sequence[Evidence]:
    """The signal around the first loss, if there was one."""
    recorded = RecordedRun(source.folder)
    lost = next((found for found in recorded.findings() if found.kind == "lost"), None)
    if lost is None:
        return []
    return [waveform_around(recorded.plan, lost.seconds, lost.reason)]


def speed_evidence(source: Source) -> Sequence[Evidence]:
    """True and reported speed and the findings, thinned to what a picture can show."""
    recorded = RecordedRun(source.folder)
    truth, end_s = Truth(recorded.plan.signal.motion), float(recorded.plan.signal.motion.end_s)
    moments = [end_s * step / MOST_POINTS for step in range(MOST_POINTS + 1)]
    name = recorded.plan.signals.speed
    every = max(_count(source, "report") // MOST_POINTS, 1)
    reported = [
        (seconds, value)
        for seconds, fields in recorded.reports(every)
        if isinstance(value := fields.get(name), float) and 0 <= seconds <= end_s
    ]
    findings = [
        {
            "seconds": found.seconds,
            "rpm": found.rpm,
            "kind": found.kind,
            "told": found.detail + (f" (it says: {found.reason})" if found.reason else ""),
        }
        for found in recorded.findings()
    ]
    true = [(round(s, 6), round(abs(truth.rpm(s)), 3)) for s in moments]
    return [{"kind": "speed", "true": true, "reported": reported, "findings": findings}]


def timing_evidence(source: Source) -> Sequence[Evidence]:
    """The controller's outputs against the true angle, where they were captured and declared."""
    recorded = RecordedRun(source.folder)
    pulses = _count(source, "pulse")
    if not recorded.plan.signals.outputs or not pulses:
        return []
    if pulses > MOST_PULSES:
        told = f"The timing of {pulses:,} edges takes a while: edgewheel timing {source.path}"
        return [{"kind": "words", "words": [told]}]
    timing = timing_of([recorded])
    data = timing_data(timing)
    known = [told for told in meaning(timing) if not told.startswith(UNKNOWN)]
    if not any(row["error_deg"] is not None for row in data["rows"]):
        return []
    return [{"kind": "timing", **data}, {"kind": "words", "words": known}]


def _count(source: Source, table: str) -> int:
    """Rows of a table, without counting them: rows are never taken away."""
    found = source.rows(f"SELECT max(rowid) FROM {table}")
    return int(found[0][0] or 0) if found else 0


def shrunk_tests(source: Source) -> tuple[Test, ...]:
    """What `edgewheel shrink` has found in the same folder."""
    query = (
        "SELECT stage, changes, end_s - begin_s, failed, found FROM trial "
        "WHERE stage IS NOT NULL ORDER BY rowid"
    )
    rows = source.rows(query)
    file = source.folder / SHRUNK
    if not rows or not file.is_file():
        return ()
    head = [line.lstrip("# ") for line in file.read_text("utf-8").splitlines() if line[:1] == "#"]
    trials = [
        {"stage": stage, "changes": changes, "seconds": s, "failed": bool(failed), "found": found}
        for stage, changes, s, failed, found in rows
    ]
    test = Test(
        "shrink",
        "The least that makes it fail alike",
        Grade.MEASURED,
        sentence(" ".join(head)),
        trials=len(trials),
        repeat=f"edgewheel run {quote(str(file))}",
        evidence=lambda: [{"kind": "shrinking", "trials": trials}],
    )
    return (test,)


def run_advice(source: Source, grade: Grade) -> list[Advice]:
    """What to do next, from how the run ended."""
    bench, again = source.bench_path, _repeat(source)
    if grade is Grade.ERROR:
        told = "Nothing is said of the controller: the bench failed. Check it."
        return [Advice(told, "edgewheel doctor")]
    if why := source.summary.get("not_again"):
        return [Advice(str(why))]
    if grade is Grade.STOPPED:
        return [Advice("It was stopped before its end. Play it again.", again)]
    if grade is not Grade.FAILED:
        told = "Nothing needs mending. To see how far it is from failing:"
        return [Advice(told, f"edgewheel threshold {bench} speed --from 1000 --to 8000")]
    if source.summary.get("first_sync_s") is None:
        told = "It never found sync: let the tool find the wrong setting."
        return [Advice(told, f"edgewheel diagnose {bench}")]
    return [
        Advice("In the picture of the signal around the loss, look at the edges that are marked."),
        _least(source),
        Advice("Change one setting or one part, and play exactly the same signal again.", again),
    ]


def _repeat(source: Source) -> str:
    """What plays it again; nothing for a live run that no bench file gives again."""
    again = f"edgewheel run {source.bench_path}"
    if source.kind == "live":
        return "" if source.summary.get("not_again") else again
    return source.repeat(again)


def _least(source: Source) -> Advice:
    file = source.folder / SHRUNK
    if file.is_file():
        told = "The least that makes it fail in the same way is found already; play it:"
        return Advice(told, f"edgewheel run {quote(str(file))}")
    told = "Find the least that makes it fail in the same way."
    return Advice(told, f"edgewheel shrink {source.path}")


def _first_sync(source: Source) -> str:
    first = source.summary.get("first_sync_s")
    return f"sync after {float(first):.3f} s" if isinstance(first, int | float) else ""


def _limit(source: Source) -> str:
    if source.plan is None:
        return ""
    return f"sync within {source.plan.limits.sync_within_s:g} s, and kept"


def _seconds(source: Source) -> float:
    plan = source.plan
    return source.played_s(float(plan.signal.motion.end_s)) if plan is not None else 0.0


def _tested(source: Source) -> str:
    plan = source.plan
    if plan is None:
        return "One run of a bench file."
    if source.kind == "live":
        return f"Whether the controller keeps sync while somebody steers. {source.setting}"
    motion: Any = plan.signal.motion
    speeds = [
        abs(rpm)
        for index in range(len(motion))
        for rpm in (motion[index].segment.rpm_begin, motion[index].segment.rpm_end)
    ] or [0]
    seconds = float(motion.end_s)
    return (
        f"Whether the controller finds sync and keeps it, in one run of {seconds:.4g} s at up to "
        f"{float(max(speeds)):,.0f} rpm. {source.setting}"
    )
