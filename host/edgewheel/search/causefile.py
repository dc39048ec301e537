"""The bench file that a shrunk run is written to: short enough to be read, complete enough to send.

It takes everything from the run's own bench file but motion, faults and sweep, and has the
controller's settings in it. Only a wheel that is not in the library stays a file of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.copies import among_copies
from edgewheel.bench.plan import Plan
from edgewheel.errors import EdgewheelError
from edgewheel.fault.flips import Flip
from edgewheel.motion.loader import read_motion
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple, Ripple
from edgewheel.motion.segment import Segment
from edgewheel.motion.series import SeriesRipple
from edgewheel.search.cause import CauseWords
from edgewheel.search.shrink import ShrinkResult
from edgewheel.search.stretch import CAUSE, moved_flips, stretch_plan
from edgewheel.wheel.library import find
from edgewheel.yamlfile import LONGEST_NUMBER, Node, flow, load, parse

_DIGITS = 12
SAME = Fraction(1, 10**9)
"""Seconds, or rpm, by which a number that was rounded to be written may be off."""


def cause_text(plan: Plan, result: ShrinkResult, folder: Path) -> str:
    """The bench file's text; `folder` is the run folder that the plan was read from."""
    shrunk = stretch_plan(plan, result.stretch, result.flips)
    words = CauseWords(shrunk.signal, plan.board.tick_hz)
    flips = moved_flips(result.flips, result.stretch)
    head = [
        f"# Shrunk from a run of '{_one_line(plan.name)}': {len(flips)} of {result.changes} "
        "changes",
        f"# and {float(result.stretch.seconds):.6g} s, and still {result.failure}.",
    ]
    document = among_copies(plan.document, folder).section().nodes
    motion = _motion(shrunk.signal.motion, document)
    if not _reads_back(motion, shrunk.signal.motion, folder):
        head.append("# Its motion cannot be written in full: this file may not fail alike.")
    lines = []
    for key, node in document.items():
        if key == "name":
            lines.append(f"name: {flow(replace(node, content=f'{plan.name}, shrunk'))}")
        elif key not in ("faults", "motion", "sweep", "capture"):
            lines.append(f"{key}: {flow(_in_place(key, node, folder))}")
    lines.append(f"motion: {motion}")
    if flips:
        lines += ["faults:", f"  {CAUSE}:", "    kind: flips", "    flips:"]
        lines += [f"      - {_flip(flip)}  # {words.of(flip)}" for flip in flips]
    return "\n".join([*head, *lines]) + "\n"


def _in_place(key: str, node: Node, folder: Path) -> Node:
    """A value with what it names in files taken in, where that can be."""
    if key == "wheel" and isinstance(node.content, str):
        return replace(node, content=_library_name(node.content, folder))
    if key == "controller" and isinstance(node.content, dict):
        settings = node.content.get("settings")
        if settings is not None and isinstance(settings.content, str):
            inner = load(folder / settings.content)
            return replace(node, content={**node.content, "settings": inner})
    return node


def _library_name(name: str, folder: Path) -> str:
    """The library's name of a wheel whose copy is the library's own; else the copy."""
    stem = name.removesuffix(".yaml")
    try:
        return stem if find(stem) == find(str(folder / name)) else name
    except EdgewheelError:
        return name


def _flip(flip: Flip) -> str:
    return f"[{flip.track}, {number_text(flip.from_us)}, {number_text(flip.to_us)}]"


def _motion(motion: Motion, document: Mapping[str, Node]) -> str:
    """A motion's text; cam timing and a computed ripple stand as in the run's bench file."""
    segments = [motion[index].segment for index in range(len(motion))]
    parts = [f"start: {number_text(motion.start_deg)}"] if motion.start_deg else []
    if motion.cams and (cams := _below(document, "motion", "cams")):
        parts.append(f"cams: {flow(cams)}")
    common = None
    if any(isinstance(segment.ripple, SeriesRipple) for segment in segments):
        common = _below(document, "motion", "ripple") or _below(document, "sweep", "ripple")
    if common is not None:
        parts.append(f"ripple: {flow(common)}")
    usual = ", ripple: {depth: 0}" if common is not None else ""
    told = (_segment(segment, _ripple(segment.ripple, usual)) for segment in segments)
    parts.append(f"segments: [{', '.join(told)}]")
    return "{" + ", ".join(parts) + "}"


def _below(document: Mapping[str, Node], section: str, key: str) -> Node | None:
    """What stands at `section.key` of a bench file; None if nothing does."""
    node = document.get(section)
    inner = node.content if node is not None else None
    return inner.get(key) if isinstance(inner, dict) else None


def _reads_back(text: str, motion: Motion, folder: Path) -> bool:
    """Whether a motion's text is that motion, but for the last places of its numbers."""
    again = read_motion(parse(text, "motion"), folder)
    return (
        len(again) == len(motion)
        and again.cams == motion.cams
        and all(_alike(again[n].segment, motion[n].segment) for n in range(len(motion)))
    )


def _alike(one: Segment, other: Segment) -> bool:
    numbers = zip(
        (one.seconds, one.rpm_begin, one.rpm_end),
        (other.seconds, other.rpm_begin, other.rpm_end),
        strict=True,
    )
    return one.ripple == other.ripple and all(abs(a - b) <= SAME for a, b in numbers)


def _segment(segment: Segment, ripple: str) -> str:
    begin, end = number_text(abs(segment.rpm_begin)), number_text(abs(segment.rpm_end))
    words = f"hold: {begin}" if begin == end else f"ramp: {end}, from: {begin}"
    words += f", seconds: {number_text(segment.seconds)}"
    if segment.direction < 0:
        words += ", reverse: true"
    return "{" + words + ripple + "}"


def _ripple(ripple: Ripple | None, usual: str) -> str:
    """What a segment says of its ripple; `usual` if it has none."""
    if not isinstance(ripple, CompressionRipple):
        return usual if ripple is None else ""
    depth, per_turn = number_text(ripple.depth), number_text(ripple.per_turn)
    return (
        f", ripple: {{depth: {depth}, per_turn: {per_turn}, "
        f"slowest_at: {number_text(ripple.slowest_at_deg)}}}"
    )


def number_text(value: Fraction) -> str:
    """A number as a bench file has it: whole or decimal where that is exact, else a fraction.

    A fraction too long to be read back is rounded to twelve places.
    """
    if len(str(value)) > LONGEST_NUMBER:
        value = Fraction(round(value * 10**_DIGITS), 10**_DIGITS)
    if value.denominator == 1:
        return str(value.numerator)
    if (value * 10**_DIGITS).denominator == 1:
        sign, digits = ("-" if value < 0 else ""), str(abs(int(value * 10**_DIGITS)))
        digits = digits.rjust(_DIGITS + 1, "0")
        return f"{sign}{digits[:-_DIGITS]}.{digits[-_DIGITS:].rstrip('0')}"
    return f'"{value}"'


def _one_line(text: str) -> str:
    return " ".join(text.split())
