"""`edgewheel report`: a record as one page to send on, as JUnit XML and as JSON."""

from __future__ import annotations

import argparse
from pathlib import Path

from edgewheel.cli.exits import ExitCode


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="RUN", help="the folder of a record")
    parser.add_argument("--html", type=Path, metavar="FILE", help="the page (RUN/report.html)")
    parser.add_argument("--junit", type=Path, metavar="FILE", help="JUnit XML (RUN/junit.xml)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="the data (RUN/report.json)")
    parser.add_argument("--open", action="store_true", help="show the page in a browser")


def run(args: argparse.Namespace) -> int:
    from edgewheel.report.read import read_report
    from edgewheel.report.writing import HTML, JSON, JUNIT, write_html, write_json, write_junit

    report = read_report(args.folder)
    page = args.html or args.folder / HTML
    write_junit(report, args.junit or args.folder / JUNIT)
    write_json(report, args.json or args.folder / JSON)
    write_html(report, page)
    print(f"{report.title}: {report.grade}. {report.answer}")
    print(f"Report: {page}")
    if args.open:
        import webbrowser

        webbrowser.open(page.resolve().as_uri())
    return ExitCode.PASSED
