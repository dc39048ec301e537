"""A record told in the terminal: its report without the pictures, and its files for others."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from shlex import quote

from edgewheel.bench.record_folder import DATABASE, SUMMARY
from edgewheel.bench.runlog import last_command
from edgewheel.bench.search_record import FINGERPRINT
from edgewheel.console.runs.listing import differences, trials_in
from edgewheel.console.runs.signal import signal_lines
from edgewheel.report.model import Grade
from edgewheel.report.read import read_report
from edgewheel.report.writing import HTML, JUNIT, write_html, write_junit
from edgewheel.search.export import write_csv
from edgewheel.search.recorded import RecordedRun, read_rows, refuse_not_again
from edgewheel.wholefile import whole_file

CSV = "run.csv"


def told(folder: Path) -> str:
    """Verdict, answer, tests and advice; what there is of one that is not over. Raises
    EdgewheelError.
    """
    if not (folder / SUMMARY).is_file():
        return cut_off(folder)
    return "\n".join(_lines(folder))


def cut_off(folder: Path) -> str:
    """What can be done with a record that has no end."""
    trials = trials_in(folder)
    if trials is None:
        return (
            "This run was cut off, or is going on: it has no verdict. What the controller said "
            f"until then stands in\n{folder / 'controller.log'}"
        )
    told = f"This search was stopped, cut off, or is going on: {trials} trials are on record."
    command = last_command(folder)
    if not command:
        return f"{told} The command that began it goes on with it by\n--resume {folder}"
    if not read_rows(folder / DATABASE, "SELECT 1 FROM meta WHERE key = ?", FINGERPRINT):
        return f"{told} It can only begin anew:\n{command}"
    if " --resume " not in command:
        command += f" --resume {quote(str(folder))}"
    return (
        f"{told} If it was the last one of this console, r on the page of searches (F3) goes on "
        f"with it; in any case\n{command}"
    )


def signal(folder: Path, width: int) -> str:
    """The signal around the first loss of a run, or at the limit that a search found.

    Raises EdgewheelError where the record does not give it.
    """
    refuse_not_again(folder)
    tests = sorted(read_report(folder).tests, key=lambda test: test.grade is not Grade.FAILED)
    for test in tests:
        for one in test.evidence():
            if one["kind"] == "waveform":
                return "\n".join(signal_lines(one, width))
    return "There is no loss of sync in it whose signal could be drawn."


def report_file(folder: Path) -> Path:
    """The page to be opened or sent, made anew. Raises EdgewheelError."""
    report = read_report(folder)
    write_junit(report, folder / JUNIT)
    write_html(report, folder / HTML)
    return (folder / HTML).resolve()


def csv_file(folder: Path) -> Path:
    """The run on one time base as CSV. Raises EdgewheelError where there is no run, or no room."""
    run = RecordedRun(folder)
    with whole_file(folder / CSV) as file:
        write_csv(run, file)
    return (folder / CSV).resolve()


def compared(one: Path, other: Path) -> str:
    """What differs between two records."""
    rows = differences(one, other)
    if not rows:
        return f"{one.name} and {other.name} say the same."
    wide = min(max(len(name) for name, _, _ in rows), 34)
    lines = [f"{name[:wide]:{wide}s}  {a}  |  {b}" for name, a, b in rows]
    return "\n".join([f"one:   {one.name}", f"other: {other.name}", "", *lines])


def _lines(folder: Path) -> Iterator[str]:
    report = read_report(folder)
    yield f"{report.title}: {report.grade.value.upper()}"
    yield report.answer
    if report.tested:
        yield report.tested
    for test in report.tests:
        yield f"  {test.grade.value:9s} {test.title}: {test.sentence}"
    for advice in report.advice:
        yield f"→ {advice.text}"
        if advice.command:
            yield f"    {advice.command}"
    yield f"Record: {folder}"
