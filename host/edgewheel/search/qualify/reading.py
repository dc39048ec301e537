"""Plans of tests from files; every complaint names file, line and key, and what would be right."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.copies import named_file, with_copies_of
from edgewheel.bench.loader import LARGEST_SEED
from edgewheel.errors import FileError, UsageError
from edgewheel.fault.reading import read_fields
from edgewheel.search.axis import Axis, make_axis
from edgewheel.search.qualify.bench import QualifyBench, load_bench
from edgewheel.search.qualify.bounds import Bound, Sense
from edgewheel.search.qualify.dwell_stop import DwellStop
from edgewheel.search.qualify.from_angles import FromAngles
from edgewheel.search.qualify.kinds import SampleKind, SearchKind, described
from edgewheel.search.qualify.plan import QualifyPlan, SampleTest, SearchTest, Test
from edgewheel.search.qualify.reaction import Reaction, ReactionKeys
from edgewheel.search.qualify.recovery import Recovery, RecoveryKeys
from edgewheel.search.qualify.samples import trials_for
from edgewheel.search.qualify.searches import AtSpeed, FaultNumber, Ramp, RippleDepth, Speed
from edgewheel.search.qualify.stall import Stall
from edgewheel.search.qualify.timing_over_speed import TimingKeys, TimingOverSpeed
from edgewheel.search.threshold import Wanted
from edgewheel.yamlfile import Node, Section, load

USUAL_WITHIN = Fraction(2)
USUAL_FAILING = Fraction(50)
USUAL_TRIALS, MOST_TRIALS = 60, 10_000
LARGEST = 10**9


@dataclass(frozen=True)
class _Here:
    """Where a test stands, for what reads it."""

    name: str
    section: Section
    bench: QualifyBench


def load_qualify(path: Path, bench: QualifyBench | None = None) -> QualifyPlan:
    """The plan in a file, on its bench file, found from the plan's folder, or on another bench.

    Raises FileError, UsageError.
    """
    section = load(path).section()
    if "tests" not in section.nodes and "controller" in section.nodes:
        raise section.node.refuse(
            "this is a bench file, no plan of tests",
            f"Write a plan that names it: 'bench: {path.name}', and its 'tests:'.",
        )
    form = section.required("format")
    if form.integer() != 1:
        raise form.refuse(f"format {form.content} is not known", "Write 'format: 1'.")
    name = section.required("name").text()
    bench_node = section.required("bench")
    bench = bench or _named_bench(path, bench_node)
    seed = section.optional("seed")
    tests = section.required("tests").section()
    if not tests.nodes:
        raise tests.node.refuse("no test stands here", "Write '<name of yours>: {kind: ...}'.")
    plan = QualifyPlan(
        name,
        path,
        bench,
        seed.integer(0, LARGEST_SEED) if seed else 0,
        tuple(_read_test(_Here(one, node.section(), bench)) for one, node in tests.nodes.items()),
        with_copies_of(bench.plan.inputs, "plan", [path]),
    )
    section.finish()
    return plan


def _named_bench(path: Path, node: Node) -> QualifyBench:
    """The bench in the file that a plan names, found from the plan's folder."""
    file = named_file(path.parent, node.text(), "bench")
    if not file.is_file():
        raise node.refuse(f"there is no bench file {file}", "Check the name and the folder.")
    return load_bench(file)


def _read_test(here: _Here) -> Test:
    section = here.section
    kind = section.required("kind").choice(tuple(KINDS))
    title = section.optional("title")
    words = title.text() if title else here.name.replace("_", " ").capitalize()
    try:
        test = KINDS[kind](here, words)
        section.finish()
        _try_out(test, here.bench)
    except FileError:
        raise
    except UsageError as error:
        raise section.node.refuse(f"a trial of this cannot be played: {error}", "") from error
    return test


def _search(make: Callable[[_Here], SearchKind]) -> Callable[[_Here, str], SearchTest]:
    """A reader of tests that vary one number."""

    def read(here: _Here, title: str) -> SearchTest:
        kind = make(here)
        keyed = isinstance(kind, FaultNumber)
        axis, wanted = _read_vary(here.section.required("vary"), kind.measure, keyed)
        limits = here.section.required("limits").section()
        node = limits.required(kind.measure)
        limits.finish()
        bound = _read_bound(node)
        _refuse_outside(node, bound, axis)
        asked = json.dumps([described(part) for part in (kind, axis, wanted)])
        return SearchTest(here.name, title, kind, axis, wanted, bound, asked)

    return read


def _sample(make: Callable[[_Here], SampleKind]) -> Callable[[_Here, str], SampleTest]:
    """A reader of tests that repeat one thing."""

    def read(here: _Here, title: str) -> SampleTest:
        kind = make(here)
        node = here.section.optional("trials")
        trials = node.integer(1, MOST_TRIALS) if node else kind.usual_trials
        limits = here.section.required("limits").section()
        bounds = {
            measure: _read_bound(limit, statistic.sense)
            for measure, statistic in kind.measures.items()
            if (limit := limits.optional(measure)) is not None
        }
        limits.finish()
        if not bounds:
            raise limits.node.refuse("no limit stands here", f"Write {' or '.join(kind.measures)}.")
        _refuse_few(node or here.section.node, kind, trials, bounds)
        asked = json.dumps([described(kind), str(trials)])
        return SampleTest(here.name, title, kind, trials, bounds, asked)

    return read


def _read_vary(node: Node, measure: str, keyed: bool) -> tuple[Axis, Wanted]:
    section = node.section()
    low = section.required("from").number(-LARGEST, LARGEST)
    high_node = section.required("to")
    high = high_node.number(-LARGEST, LARGEST)
    if high <= low:
        raise high_node.refuse(f"{high_node.content} is not above 'from'", "Vary upwards.")
    whole = section.optional("whole")
    within = section.optional("within_percent")
    failing = section.optional("failing_percent")
    most = section.optional("most_trials")
    if keyed:
        section.required("key")
    section.finish()
    share = within.number(above=0, maximum=50) if within else USUAL_WITHIN
    trials = most.integer(16, MOST_TRIALS) if most else USUAL_TRIALS
    axis = make_axis(measure, low, high, whole.flag() if whole else False)
    fails = failing.number(1, 99) if failing else USUAL_FAILING
    return axis, Wanted(float(fails) / 100, float(share) / 100, trials)


def _read_bound(node: Node, only: Sense | None = None) -> Bound:
    section = node.section()
    least, most = section.optional("at_least"), section.optional("at_most")
    marginal = section.optional("marginal")
    section.finish()
    one = least or most
    if one is None or (least and most):
        raise node.refuse("a limit has one side", "Write 'at_least' or 'at_most'.")
    sense: Sense = "at_least" if least else "at_most"
    if only not in (None, sense):
        raise one.refuse("this is bounded from the other side", f"Write '{only}'.")
    band = marginal.number(0, LARGEST) if marginal else Fraction(0)
    return Bound(sense, float(one.number(-LARGEST, LARGEST)), float(band))


def _refuse_outside(node: Node, bound: Bound, axis: Axis) -> None:
    """Refuse a limit that the search could not confirm."""
    if not all(axis.low <= value <= axis.high for value in (bound.value, bound.comfortable)):
        raise node.refuse(
            f"the limit and its marginal band are not within {axis.low:g} and {axis.high:g}, where "
            "the search looks",
            "Widen 'vary:', or change the limit.",
        )


def _refuse_few(node: Node, kind: SampleKind, trials: int, bounds: Mapping[str, Bound]) -> None:
    """Refuse a sample whose interval would have no end."""
    for measure in bounds:
        share = kind.measures[measure].quantile
        least = trials_for(share) if share is not None else 1
        if trials < least:
            raise node.refuse(
                f"{trials} trials give no 95 % interval of '{measure}'",
                f"Write at least {least}.",
            )


def _try_out(test: Test, bench: QualifyBench) -> None:
    """Make the plan of a trial, so that what cannot be played is refused before any is."""
    if isinstance(test, SearchTest):
        for share in (0.0, 1.0):
            test.kind.plan(bench, test.axis.text(share), 0)
    else:
        test.kind.plan(bench, 0, 0, ())


def _speed(here: _Here) -> Speed:
    keys = read_fields(here.section, Speed, here.bench.plan.wheel)
    lowest = here.section.required("vary").section().required("from")
    least = here.bench.plan.limits.least_rpm
    if lowest.number() < Fraction(least):
        raise lowest.refuse(
            f"below {least:g} rpm the bench file asks for no sync, so nothing could fail",
            "Begin at that speed, or lower 'least_rpm' in its 'limits:'.",
        )
    if keys.sync_must == "return" and keys.begin_rpm is None:
        raise here.section.node.refuse(
            "sync cannot return where there is no speed before", "Add 'begin_rpm:'."
        )
    return keys


def _ripple(here: _Here) -> RippleDepth:
    high = here.section.required("vary").section().required("to")
    high.number(below=1)
    return read_fields(here.section, RippleDepth, here.bench.plan.wheel)


def _fault_number(here: _Here) -> FaultNumber:
    fault = here.section.required("fault")
    key = here.section.required("vary").section().required("key").text()
    return FaultNumber(_at_speed(here), here.name, fault, key)


def _at_speed(here: _Here) -> AtSpeed:
    return read_fields(here.section, AtSpeed, here.bench.plan.wheel)


def _reaction(here: _Here) -> Reaction:
    keys = read_fields(here.section, ReactionKeys, here.bench.plan.wheel)
    return Reaction(keys, here.name, here.section.required("fault"))


def _recovery(here: _Here) -> Recovery:
    keys = read_fields(here.section, RecoveryKeys, here.bench.plan.wheel)
    return Recovery(keys, here.name, here.section.required("fault"))


def _timing(here: _Here) -> TimingOverSpeed:
    keys = read_fields(here.section, TimingKeys, here.bench.plan.wheel)
    if keys.to_rpm <= keys.from_rpm:
        node = here.section.required("to_rpm")
        raise node.refuse(f"{node.content} is not above 'from_rpm'", "Step upwards.")
    return TimingOverSpeed(keys)


KINDS: Mapping[str, Callable[[_Here, str], Test]] = {
    "speed": _search(_speed),
    "ramp": _search(lambda here: read_fields(here.section, Ramp, here.bench.plan.wheel)),
    "ripple": _search(_ripple),
    "fault": _search(_fault_number),
    "reaction": _sample(_reaction),
    "recovery": _sample(_recovery),
    "starts": _sample(lambda here: read_fields(here.section, FromAngles, here.bench.plan.wheel)),
    "stall": _sample(lambda here: read_fields(here.section, Stall, here.bench.plan.wheel)),
    "dwell_stop": _sample(lambda here: read_fields(here.section, DwellStop, here.bench.plan.wheel)),
    "timing": _sample(_timing),
}
"""Every kind of test by the word that a plan calls it."""


def only(plan: QualifyPlan, names: list[str]) -> tuple[Test, ...]:
    """Some of a plan's tests. Raises UsageError for a name that it has not."""
    known = [test.name for test in plan.tests]
    for name in names:
        if name not in known:
            raise UsageError(f"{plan.file} has no test '{name}'. It has: {', '.join(known)}.")
    return tuple(test for test in plan.tests if test.name in names)
