"""A report as one HTML file that needs nothing else: no network, no script, no colour."""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Sequence
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from edgewheel.errors import UsageError
from edgewheel.report.drawing import load, script, static_svg
from edgewheel.report.model import Grade, Picture, Report, Test
from edgewheel.report.pictures.drawn import pictures, why, words
from edgewheel.report.words import several
from edgewheel.wheel.drawing.figure import wheel_svg

if TYPE_CHECKING:
    from jinja2 import Environment

MEANING = {
    Grade.PASSED: "within its limit",
    Grade.MARGINAL: "within its limit, but close to it or not known well enough",
    Grade.FAILED: "beyond its limit: the controller is at fault",
    Grade.ERROR: "not judged, for the bench failed or lacks what the test needs: nothing is said "
    "of the controller",
    Grade.STOPPED: "stopped before its end",
    Grade.MEASURED: "measured; there is no limit to break",
}
GLOSSARY = (
    (
        "Crank and cam",
        "The two shafts of an engine that the controller watches, each by a wheel with teeth and a "
        "sensor. The crank's teeth say how far it has turned; the cam turns half as fast and says "
        "in which of two turns of the crank the engine is.",
    ),
    (
        "Sync",
        "The controller has found its place in the pattern of teeth, so it knows where the engine "
        "stands. Without sync it can fire no coil and open no injector at the right moment.",
    ),
    (
        "Bench",
        "In place of an engine a board plays the sensors' signals, so that the same signal can be "
        "played again, edge for edge. A simulated bench is a program: nothing was wired.",
    ),
    ("Sound", "As it should be: the same wheel and motion without any fault."),
    ("Trial", "One run from standstill, with a start of its own, that passes or fails."),
    (
        "95 % interval",
        "How sure a measured value is: of a hundred such intervals about ninety-five hold the true "
        "value.",
    ),
)
KINDS = {
    "run": "Report of one run",
    "live": "Report of a run steered by hand",
    "sweep": "Report of a speed sweep",
    "threshold": "Report of a threshold",
    "envelope": "Report of an envelope",
    "starts": "Report of starts from all angles",
    "diagnose": "Diagnosis of a controller's settings",
    "qualify": "Crank and cam input report",
}
LIMITS = ("limit", "sense")
"""Of evidence that two tests share, what each of them holds it against."""


def html(report: Report) -> str:
    """The page. Raises UsageError if the extra that draws is not installed."""
    load()
    environment = _environment()
    scripts = (script(), _text("page.js"))
    page = environment.get_template("page.html.j2").render(
        report=report,
        heading=KINDS.get(report.kind, report.kind),
        tests=_all_shown(report.tests),
        overview=[_drawn(picture, set()) for picture in pictures(report.overview)],
        meaning=MEANING,
        glossary=GLOSSARY,
        when=dict(report.facts).get("When", ""),
        grades=[grade for grade in Grade if report.count(grade) or grade is report.grade],
        Grade=Grade,
        several=several,
        style=_text("page.css"),
        scripts=scripts,
        policy=_policy(scripts),
        wheel=_data_uri(wheel_svg(report.wheel)) if report.wheel else "",
    )
    return str(page)


def _all_shown(tests: Sequence[Test]) -> list[dict[str, Any]]:
    """Each test with its evidence drawn; what was drawn for an earlier test is only referred to."""
    seen: dict[str, int] = {}
    notes: set[str] = set()
    shown = []
    for number, test in enumerate(tests, 1):
        evidence = test.evidence()
        fresh, same_as = [], set()
        for one in evidence:
            key = json.dumps({k: v for k, v in one.items() if k not in LIMITS}, sort_keys=True)
            earlier = seen.setdefault(key, number)
            if earlier == number or one["kind"] == "words":
                fresh.append(one)
            else:
                same_as.add(earlier)
        shown.append(
            {
                "id": f"test-{number}",
                "test": test,
                "why": why(evidence),
                "words": words(fresh),
                "pictures": [_drawn(picture, notes) for picture in pictures(fresh)],
                "same_as": [(f"test-{n}", tests[n - 1].title) for n in sorted(same_as)],
            }
        )
    return shown


def _drawn(picture: Picture, notes: set[str]) -> dict[str, Any]:
    """A picture with its SVG, which is markup of ours: every text in it went through Vega.

    How to read it is said once on the page; `notes` are those that were said.
    """
    from markupsafe import Markup

    note = "" if picture.note in notes else picture.note
    notes.add(picture.note)
    return {"picture": picture, "note": note, "svg": Markup(static_svg(picture.spec))}


def _environment() -> Environment:
    try:
        from jinja2 import Environment, PackageLoader, StrictUndefined
    except ImportError as error:
        raise UsageError(
            "A page needs the extra 'report': pip install 'edgewheel[report]'."
        ) from error
    return Environment(
        loader=PackageLoader("edgewheel.report", "page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _policy(scripts: tuple[str, ...]) -> str:
    """What a browser may do with the page: these scripts and no other, and no network at all."""
    hashes = (b64encode(sha256(text.encode()).digest()).decode() for text in scripts)
    allowed = " ".join(f"'sha256-{value}'" for value in hashes)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _data_uri(svg: str) -> str:
    """A drawing as an image of its own, so that its style sheet stays inside it."""
    return f"data:image/svg+xml;base64,{b64encode(svg.encode()).decode()}"


def _text(name: str) -> str:
    return (files("edgewheel.report") / "page" / name).read_text(encoding="utf-8")
