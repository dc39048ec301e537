"""A trial: one run from standstill to a verdict, with a start of its own and one answer.

Trials are independent: each parks the outputs, begins with a controller that knows nothing, from a
crank angle and a seed drawn for it alone. What it showed is a row of the record.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Self

from edgewheel.bench.events import SyncLost
from edgewheel.bench.loader import read_plan
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import CYCLE_DEG
from edgewheel.bench.verdict import Outcome, VerdictListener
from edgewheel.errors import BenchError, UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold, ramp
from edgewheel.search.axis import SPEED
from edgewheel.yamlfile import Node

START_STEP_DEG = Fraction(1, 2)
SEEDS = 2**31
TURNS_HELD = 4


@dataclass(frozen=True)
class RunUp:
    """The motion of a trial: from standstill to a speed, which is then held for a while.

    It is held `hold_s` and `TURNS_HELD` turns, so that a slow crank has time for its sync too. None
    for `speed_rpm` leaves the motion of the bench file.
    """

    speed_rpm: Fraction | None = None
    rpm_per_s: Fraction = Fraction(5000)
    hold_s: Fraction = Fraction(3, 5)

    def motion(self, rpm: Fraction, start_deg: Fraction) -> Motion:
        """The motion to a speed, from a crank angle. Raises UsageError for no speed at all."""
        if rpm <= 0:
            raise UsageError(f"A speed of {float(rpm):g} rpm turns nothing. Give one above 0.")
        seconds = self.hold_s + TURNS_HELD * 60 / rpm
        run_up = ramp(Fraction(0), rpm, rpm_per_s=self.rpm_per_s)
        return Motion([run_up, hold(rpm, seconds=seconds)], start_deg)

    def as_data(self) -> dict[str, str]:
        """For JSON, exactly; a speed that is not set is left out."""
        told = {name: getattr(self, name) for name in ("speed_rpm", "rpm_per_s", "hold_s")}
        return {name: str(value) for name, value in told.items() if value is not None}

    @classmethod
    def from_data(cls, data: Mapping[str, str]) -> Self:
        """What `as_data` has written."""
        return cls(**{name: Fraction(text) for name, text in data.items()})


class Planner:
    """Makes the plan of each trial from a bench file, the values set in it, and a number."""

    def __init__(self, document: Node, file: Path, run_up: RunUp, seed: int) -> None:
        self._document = document
        self._file = file
        self._run_up = run_up
        self._seed = seed

    def seed_of(self, number: int) -> int:
        """The seed of a trial, which follows from the search's own and the trial's number."""
        return Random(f"{self._seed} {number}").randrange(SEEDS)

    def plan(self, values: Mapping[str, str], number: int) -> Plan:
        """The plan of a trial. Raises FileError or UsageError for values that cannot be."""
        document, seed = self._document, self.seed_of(number)
        for address, text in values.items():
            if address != SPEED:
                document = document.with_value(address, text)
        plan = read_plan(_seeded(document, seed), self._file)
        rpm = Fraction(values[SPEED]) if SPEED in values else self._run_up.speed_rpm
        if rpm is not None:
            return plan.with_motion(self._run_up.motion(rpm, start_deg(seed)))
        if not len(plan.signal.motion):
            raise UsageError(
                f"{self._file} says nothing of a motion, so nothing would turn in a trial. "
                "Say at which speed the trials are to run: --speed 1000."
            )
        return plan.with_motion(from_angle(plan.signal.motion, start_deg(seed)))


def _seeded(document: Node, seed: int) -> Node:
    nodes = document.section().nodes
    return replace(document, content={**nodes, "seed": Node(document.place, str(seed))})


def start_deg(seed: int) -> Fraction:
    """The crank angle at which a trial begins, in degrees of the cycle."""
    return START_STEP_DEG * Random(seed).randrange(int(CYCLE_DEG / START_STEP_DEG))


def from_angle(motion: Motion, start_deg: Fraction) -> Motion:
    """The same motion from another crank angle."""
    segments = [motion[index].segment for index in range(len(motion))]
    return Motion(segments, start_deg, motion.cams)


def judge(rig: Rig, plan: Plan) -> tuple[bool, str, str] | None:
    """Play a plan until its verdict is certain: passed, the bench's sentence, the controller's.

    None if it was stopped by hand. Raises BenchError if the bench failed.
    """
    listener = VerdictListener(plan.limits, plan.signals)
    lost: SyncLost | None = None
    for event in rig.run(plan):
        listener.hear(event)
        if isinstance(event, SyncLost) and lost is None:
            lost = event
            rig.abort()
    if lost is not None:
        return False, f"lost at {lost.rpm:.0f} rpm: {lost.detail}", lost.reason
    verdict = listener.verdict()
    if verdict.outcome is Outcome.ABORTED:
        return None
    if verdict.outcome is Outcome.ERROR:
        raise BenchError(f"The bench failed in a trial: {verdict.detail}")
    return verdict.outcome is Outcome.PASSED, verdict.detail, ""
