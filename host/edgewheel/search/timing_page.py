"""The timing of recorded runs as one page of text, 80 columns wide."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import hypot, isnan
from statistics import median
from textwrap import fill

from edgewheel.bench.timing.edge import EdgeShift
from edgewheel.bench.timing.remarks import several
from edgewheel.bench.timing.rows import Row
from edgewheel.bench.timing.separate import Estimate, Separation
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.search.timing import Timing
from edgewheel.search.timing_coils import coil_sentences

WIDTH = 80
SIGNS = (
    "Angles are crank degrees before top dead centre (TDC), positive before it. An error is "
    "measured minus commanded angle: positive is too early, negative too late."
)
HEAD = "run line         cyl     rpm         count   angle   error  scat.    ms mis dbl"
ABOVE = "as for the sparks; the correction above mends both."
MOST_ROWS = 24


def page(timing: Timing) -> str:
    """Everything that the runs tell of the timing."""
    parts = [_title(timing), "\n".join(_table(timing)), "Ignition"]
    parts += _paragraphs(_ignition(timing))
    if timing.injection is not None:
        parts.append("Injection")
        parts += _paragraphs(_injection(timing.injection, timing.ignition, timing.runs[0].edges))
    remarks = list(_remarks(timing))
    if remarks:
        parts += ["Also seen", *_paragraphs(remarks)]
    return "\n\n".join(parts) + "\n"


def meaning(timing: Timing) -> list[str]:
    """What is wrong and what to type, one sentence or two each, without line breaks."""
    edges = timing.runs[0].edges
    told = list(_ignition(timing))
    if timing.injection is not None:
        told += _injection(timing.injection, timing.ignition, edges)
    return [*told, *_remarks(timing)]


def _title(timing: Timing) -> str:
    lines = [f"Timing of {several(len(timing.runs), 'run')} against the true crank angle"]
    lines += [
        fill(
            f"{run.number}  {run.name}; commanded advance: {run.advance_source}.",
            WIDTH,
            subsequent_indent="   ",
        )
        for run in timing.runs
    ]
    return "\n".join([*lines, "", fill(SIGNS, WIDTH)])


def _table(timing: Timing) -> Iterator[str]:
    """One line for each row of coils and injectors; if that gives too many, one for each speed and
    those of the coils that are out of step.
    """
    shown = [row for row in timing.rows if row.kind != "tacho"]
    if len(shown) > MOST_ROWS:
        alone = {(run.number, misfit.line) for run in timing.runs for misfit in run.misfits}
        shown = _together(shown, alone)
    yield HEAD
    for row in shown[:MOST_ROWS]:
        speed = f"{row.rpm_from:g}"
        speed += "" if row.rpm_from == row.rpm_to else f">{row.rpm_to:g}"
        cylinders = ",".join(map(str, row.cylinders))
        yield (
            f"{row.run:3d} {row.line[:12]:12s} {cylinders[:7]:7s} {speed[:11]:11s} {row.count:5d} "
            f"{_number(row.before_deg, 7)} {_number(row.error_deg, 7, '+')} "
            f"{row.scatter_deg:6.3f} {row.lasts_ms:5.2f} {row.missed:3d} {row.doubled:3d}"
        )
    if len(shown) > MOST_ROWS:
        yield f"... and {len(shown) - MOST_ROWS} rows more; --json gives all of them."


def _together(rows: list[Row], alone: set[tuple[int, str]]) -> list[Row]:
    """The lines of one kind at one speed of a run as one row: medians, sums, the worst scatter.

    Lines that are `alone`, by run and name, keep rows of their own.
    """
    groups: dict[tuple[object, ...], list[Row]] = {}
    for row in rows:
        own = row.line if (row.run, row.line) in alone else ""
        key = (row.run, row.kind, own, row.steady, row.rpm_from, row.rpm_to)
        groups.setdefault(key, []).append(row)
    return [
        replace(
            group[0],
            line=group[0].line if len(group) == 1 else f"{len(group)} {group[0].kind}",
            cylinders=group[0].cylinders if len(group) == 1 else (),
            count=sum(row.count for row in group),
            before_deg=median(row.before_deg for row in group),
            error_deg=median(row.error_deg for row in group),
            scatter_deg=max(row.scatter_deg for row in group),
            lasts_ms=median(row.lasts_ms for row in group),
            missed=sum(row.missed for row in group),
            doubled=sum(row.doubled for row in group),
        )
        for group in groups.values()
    ]


def _ignition(timing: Timing) -> Iterator[str]:
    """Each cause with the correction to type, then what is not known."""
    found, edges = timing.ignition, timing.runs[0].edges
    yield from coil_sentences(timing.runs)
    yield from _turn(found)
    yield from _edge(found, edges)
    if (error := found.reference_deg) is not None:
        setting = (
            f"add {error.value:+.2f} to the angle from the reference tooth to TDC (new = old "
            f"{error.value:+.2f}). A controller that asks how far before TDC the reference "
            "stands asks for the same angle; one that counts it the other way wants the other sign"
        )
        yield _reference("Reference angle", error, "sparks", setting, found)
    if found.delay_us is not None:
        yield _delay(found.delay_us, "spark", "add {lag} degrees of advance")
    yield from _not_known(found)


def _injection(found: Separation, sparks: Separation, edges: EdgeShift) -> Iterator[str]:
    """The same for injection; what puts both off is one setting, and is to be mended once."""
    yield from [f"360 DEGREES OUT, {ABOVE}"] if _both(found.turn, sparks.turn) else _turn(found)
    if _both(found.edge, sparks.edge):
        yield f"WRONG EDGE, {ABOVE}"
    else:
        yield from _edge(found, edges)
    if found.reference_deg is not None:
        yield from _injection_angle(found, found.reference_deg, sparks)
    if found.delay_us is not None:
        yield _delay(found.delay_us, "injection", "let it end {lag} degrees earlier")
    yield from _not_known(found)


def _both(share: str, other: str) -> bool:
    return share == other == "wrong"


def _turn(found: Separation) -> Iterator[str]:
    if found.turn == "wrong":
        yield (
            "360 DEGREES OUT: each event comes a whole turn from where it belongs. Correction: "
            "turn the cam input's polarity over, or add 360 degrees to the cam's angle."
        )
    elif found.turn == "both":
        yield (
            "BOTH TURNS: outputs of a single cylinder have an event in each turn of the crank, so "
            "the controller does not tell the two turns of a cycle apart. Correction: let it use "
            "the cam signal; if wasted spark is meant, say so: 'outputs: {in1: {ignition: [1, 4]}}'"
            ". Angle and delay below hold within a turn."
        )
    elif found.turn == "right":
        yield "Turn: right; events come in the turn in which they belong."


def _edge(found: Separation, edges: EdgeShift) -> Iterator[str]:
    if found.edge_share is None:
        return
    share = _with_spread(found.edge_share, 2)
    if found.edge == "wrong":
        yield (
            f"WRONG EDGE: the error moves with the tooth width ({share} of it). The controller "
            f"counts the {_word(edges.other)} edge of {edges.track}. Correction: set it to the "
            f"{_word(edges.meant)} edge, or turn that input's polarity over. All below holds once "
            "that is done."
        )
    elif found.edge == "right":
        yield (
            f"Edge: right; the error does not move with the tooth width ({share} of it), so the "
            f"{_word(edges.meant)} edge of {edges.track} is counted."
        )


def _injection_angle(found: Separation, error: Estimate, sparks: Separation) -> Iterator[str]:
    """What the reference angle has put off, and what the injection's own angle has."""
    shared = sparks.reference_deg if sparks.edge == found.edge else None
    if shared is not None and not _is_right(shared):
        yield f"Reference angle: off {ABOVE}"
        spread = hypot(error.uncertainty, shared.uncertainty)
        error = Estimate(error.value - shared.value, spread)
    setting = f"subtract {error.value:+.2f} from the injection's end angle before TDC"
    if shared is None:
        setting += "; if sparks are off by as much, correct the reference angle instead"
    yield _reference("Injection angle", error, "injections", setting, found)


def _reference(name: str, error: Estimate, events: str, setting: str, found: Separation) -> str:
    if _is_right(error):
        return f"{name}: right, {_with_spread(error, 2)} degrees."
    way = "early" if error.value > 0 else "late"
    note = "" if found.edge != "unknown" else " This holds for the edge that is counted now."
    return (
        f"{name.upper()}: {events} come {abs(error.value):.2f} degrees {way} at any speed "
        f"({_with_spread(error, 2)}). Correction: {setting}.{note}"
    )


def _is_right(error: Estimate) -> bool:
    return abs(error.value) <= max(error.uncertainty, 0.05)


def _delay(delay: Estimate, what: str, else_do: str) -> str:
    text = f"{_with_spread(delay, 1)} us"
    if abs(delay.value) <= max(delay.uncertainty, 2.0):
        return f"Fixed delay: none to be seen, {text}."
    lag = f"{DEG_PER_S_PER_RPM * delay.value * 1e-6 * 1000:.2f}"
    return (
        f"FIXED DELAY: {what}s come {text} late, {lag} degrees for each 1,000 rpm. Correction: "
        f"set the controller's {what} latency compensation to {delay.value:+.0f} us; where it has "
        f"none, {else_do.format(lag=lag)} for each 1,000 rpm. A delay holds all that lies between "
        f"an edge at the sensor's pin and the {what} at the board's input: input filter, "
        "processing, driver, and the bench's own input stage."
    )


def _not_known(found: Separation) -> Iterator[str]:
    return (f"Not known: {need}" for need in found.needs)


def _only_if_locked(timing: Timing) -> Iterator[str]:
    """What no run can tell: whether an advance that nobody reports was what the bench file says."""
    delays = [timing.ignition.delay_us, timing.injection.delay_us if timing.injection else None]
    known = [one for one in delays if one is not None and one.value > max(one.uncertainty, 2.0)]
    if known and not all(run.advance_reported for run in timing.runs):
        yield (
            "The delay holds only if the timing was locked as the bench file says. An advance that "
            "falls in a straight line with speed looks the same, and nothing here separates the "
            "two: log the advance ('signals: {advance: FIELD}') to be sure."
        )


def _remarks(timing: Timing) -> Iterator[str]:
    yield from _only_if_locked(timing)
    for run in timing.runs:
        prefix = f"Run {run.number}: " if len(timing.runs) > 1 else ""
        yield from (prefix + remark for remark in run.remarks)


def _paragraphs(texts: Iterator[str] | list[str]) -> list[str]:
    return [fill(text, WIDTH, initial_indent="  ", subsequent_indent="    ") for text in texts]


def _with_spread(estimate: Estimate, digits: int) -> str:
    least = 10.0**-digits
    return f"{estimate.value:+.{digits}f} +- {max(estimate.uncertainty, least):.{digits}f}"


def _number(value: float, width: int, sign: str = "") -> str:
    return " " * (width - 1) + "-" if isnan(value) else f"{value:{sign}{width}.2f}"


def _word(edge: str) -> str:
    return {"rise": "rising", "fall": "falling"}[edge]
