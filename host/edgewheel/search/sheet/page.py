"""The settings sheet as one page of text, 80 columns wide, and as data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from textwrap import fill as filled
from typing import Any

from edgewheel.search.sheet.model import COMPUTED, Bound, Line, Sheet

WIDTH = 80
HEAD = f"{'setting':21}{'type':19}{'works from .. to':24}{'margin':16}"
DIGITS = 4


def fill(text: str, indent: str = "", further: str = "") -> str:
    """A paragraph; commands are not broken at their hyphens."""
    return filled(
        text, WIDTH, initial_indent=indent, subsequent_indent=further, break_on_hyphens=False
    )


def page(sheet: Sheet) -> str:
    """Everything on the sheet."""
    return "\n".join(_lines(sheet)) + "\n"


def _lines(sheet: Sheet) -> Iterator[str]:
    subject = sheet.subject
    low, high = subject.speeds_rpm()
    yield fill(f"Settings for {subject.name}")
    under = " and ".join(name for name, _ in subject.motions)
    yield fill(f"Wheel: {subject.wheel.name}. Under {under}: {low:.0f} to {high:.0f} rpm.")
    yield fill(
        "Ends that no run is named for are computed. Degrees are crank degrees. A ratio is a "
        "tooth period over the one before it."
    )
    if subject.bench:
        yield fill(f"BENCH is {subject.bench}.")
    yield ""
    yield HEAD.rstrip()
    for line in sheet.lines:
        yield f"{line.name:21}{_value(line):19}{_ends(line):24}{_margin(line):16}".rstrip()
        words = " ".join(_words(line))
        if words:
            yield fill(words, "    ", "    ")
    for number, name in sheet.runs.items():
        yield fill(f"Run {number} is {name}.", "", "  ")
    for remark in sheet.remarks:
        yield fill(remark, "", "  ")


def _value(line: Line) -> str:
    if line.value is None:
        return "not known" if line.low is None and line.high is None else "none works"
    if isinstance(line.value, str):
        return line.value
    return f"{_number(line.value)} {line.unit}".rstrip()


def _ends(line: Line) -> str:
    if line.low is None and line.high is None:
        return ""
    low = _number(line.low.value) if line.low else "?"
    high = _number(line.high.value) if line.high else "?"
    return f"{low} .. {high} {line.unit}".rstrip()


def _margin(line: Line) -> str:
    if not isinstance(line.value, float | int):
        return ""
    low = f"{line.low.value - line.value:+.3g}" if line.low else ""
    high = f"{line.high.value - line.value:+.3g}" if line.high else ""
    return " ".join(part for part in (low, high) if part)


def _words(line: Line) -> Iterator[str]:
    yield from line.notes
    beyond = [
        f"{way}, {bound.beyond}{_source(bound)}"
        for way, bound in (("Below", line.low), ("Above", line.high))
        if bound is not None and bound.beyond
    ]
    if len(beyond) == 2 and line.low and line.high and line.low.beyond == line.high.beyond:
        beyond = [f"Outside, {line.low.beyond}{_source(line.low)}"]
    if beyond:
        yield "; ".join(beyond).replace("; Above", "; above") + "."
    if line.shown:
        yield f"Shown: {'; '.join(line.shown)}."
    elif line.ask and not _measured(line):
        yield f"To know it from a run: {line.ask}."


def _measured(line: Line) -> bool:
    return any(bound is not None and bound.source != COMPUTED for bound in (line.low, line.high))


def _source(bound: Bound) -> str:
    return "" if bound.source == COMPUTED else f" ({bound.source})"


def _number(value: float) -> str:
    return f"{value:.{DIGITS}g}" if abs(value) < 10**DIGITS else f"{value:.0f}"


def as_data(sheet: Sheet) -> dict[str, Any]:
    """The sheet for JSON; what is not known is null."""
    low, high = sheet.subject.speeds_rpm()
    return {
        "schema": 1,
        "name": sheet.subject.name,
        "bench": sheet.subject.bench or None,
        "wheel": sheet.subject.wheel.name,
        "motions": [name for name, _ in sheet.subject.motions],
        "rpm": [low, high],
        "lines": [asdict(line) for line in sheet.lines],
        "simulated_controller": sheet.typed(),
        "runs": dict(sheet.runs),
        "remarks": list(sheet.remarks),
    }
