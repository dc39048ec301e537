"""What commands leave in a record's folder for others to read: JUnit XML, and whole reports."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.errors import EdgewheelError

if TYPE_CHECKING:
    from edgewheel.cli.talk import Talk


def leave_junit(folder: Path, talk: Talk) -> None:
    """Write `junit.xml` beside the summary. What goes wrong here must not spoil the result."""
    from edgewheel.report.read import read_report
    from edgewheel.report.writing import JUNIT, write_junit

    try:
        write_junit(read_report(folder), folder / JUNIT)
    except EdgewheelError as error:
        talk.say(f"junit.xml was not written: {error}")


def leave_report(folder: Path, talk: Talk) -> None:
    """Write the page, JUnit XML and JSON; says where the page is, or what it lacks."""
    from edgewheel.report.read import read_report
    from edgewheel.report.writing import HTML, JSON, JUNIT, write_html, write_json, write_junit

    try:
        report = read_report(folder)
        write_junit(report, folder / JUNIT)
        write_json(report, folder / JSON)
        write_html(report, folder / HTML)
        talk.say(f"Report: {folder / HTML}")
    except EdgewheelError as error:
        talk.say(f"The report is not complete: {error}")
