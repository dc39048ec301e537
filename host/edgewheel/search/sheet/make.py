"""Puts the sheet together: what it is made for, what is computed, what runs have shown."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from edgewheel.bench.plan import Plan, SimulatedController
from edgewheel.errors import UsageError
from edgewheel.fault.bounce import Bounce
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import ramp
from edgewheel.search.sheet.amplitude import amplitude_lines
from edgewheel.search.sheet.cam import cam_lines
from edgewheel.search.sheet.crank import crank_lines
from edgewheel.search.sheet.model import Line, Sheet, Subject
from edgewheel.search.sheet.proof import NOTHING_SHOWN, Shown, remarks_of, with_runs, with_settings
from edgewheel.search.sweep import sweep_plan
from edgewheel.search.variant import sensed_wheel
from edgewheel.wheel.model import Wheel

ASSUMED_RPM = (200, 6000)
"""The speeds of a sheet for a wheel alone, where nobody says others."""

ASSUMED_RPM_PER_S = Fraction(2000)


def bench_subject(plan: Plan, file: str, motion: tuple[str, Motion] | None = None) -> Subject:
    """What a bench file asks for: its motion and its sweep, or another motion instead.

    Raises UsageError if nothing turns.
    """
    motions = [motion] if motion else []
    if motion is None and len(plan.signal.motion):
        motions.append(("the bench file's motion", plan.signal.motion))
    if motion is None and plan.sweep is not None:
        motions.append(("its sweep", sweep_plan(plan)[0].signal.motion))
    if not motions:
        raise UsageError(
            f"{file} says nothing of a motion, so no margin can be reckoned. Add 'motion:' or "
            "'sweep:', or name a file with --motion."
        )
    controller = plan.controller
    return Subject(
        plan.name,
        sensed_wheel(plan),
        tuple(motions),
        plan.limits,
        tuple(fault for fault in plan.signal.faults.values() if isinstance(fault, Bounce)),
        file,
        controller.settings if isinstance(controller, SimulatedController) else None,
    )


def wheel_subject(wheel: Wheel, motion: tuple[str, Motion] | None = None) -> Subject:
    """A wheel alone, under a motion or a slow run through the usual speeds."""
    low, high = ASSUMED_RPM
    assumed = Motion([ramp(Fraction(low), Fraction(high), rpm_per_s=ASSUMED_RPM_PER_S)])
    named = motion or (f"an assumed run from {low} to {high} rpm", assumed)
    return Subject(wheel.name, wheel, (named,))


def sheet_of(subject: Subject, shown: Shown = NOTHING_SHOWN) -> Sheet:
    """The sheet, from what can be computed and from the runs that were given."""
    lines = [
        *crank_lines(subject),
        *cam_lines(subject),
        *amplitude_lines(subject),
        *_beside(subject),
    ]
    lines = [with_settings(with_runs(line, shown), subject.settings) for line in lines]
    return Sheet(subject, tuple(lines), shown.runs, tuple(remarks_of(shown)))


def _beside(subject: Subject) -> Iterator[Line]:
    """What only runs can tell."""
    _, highest = subject.speeds_rpm()
    yield Line(
        "speed",
        "highest speed",
        round(highest, 1),
        "rpm",
        ask=f"edgewheel threshold BENCH speed --from {highest / 2:.0f} --to {2 * highest:.0f}",
        notes=("Of the motions above.",),
    )
    yield Line(
        "latency",
        "spark latency",
        None,
        "us",
        ask="edgewheel run BENCH, two speeds held and the coils captured, edgewheel timing RUN",
    )
