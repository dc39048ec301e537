"""Where sparks stand over speed: the angle's error, the delay, the scatter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, ClassVar

from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.errors import UsageError
from edgewheel.fault.fields import Bounds
from edgewheel.motion.segment import HIGHEST_RPM, Segment, hold, ramp
from edgewheel.search.qualify.bench import RUN_UP_RPM_PER_S, QualifyBench
from edgewheel.search.qualify.heard import HeardRun
from edgewheel.search.qualify.kinds import SampleKind, Statistic
from edgewheel.search.qualify.sampling import (
    MEDIAN,
    NO_ADVANCE,
    reports_needed,
    sparks_needed,
    whole,
)
from edgewheel.search.qualify.shown import Shown
from edgewheel.search.timing import Timing, timing_of

MOST_STEPS = 40
DIGITS = 3
"""Of an angle: a tick of the capture is no finer at the speeds of engines, so a finer difference
between two releases is none.
"""

TURNS_SETTLED = 5
"""Crank turns of each step that `edgewheel.bench.timing.rows` leaves out, and one more."""


@dataclass(frozen=True)
class TimingKeys:
    """The sparks against the true crank angle, at `steps` speeds evenly between two.

    Each speed is held for so many `turns`. `angle_error_deg` is the error of the angle at no speed,
    without its sign; `delay_us` the fixed delay that makes sparks later with speed; `scatter_deg`
    the largest standard deviation of a coil at a speed.
    """

    from_rpm: Annotated[Fraction, Bounds(above=0, maximum=HIGHEST_RPM)]
    to_rpm: Annotated[Fraction, Bounds(above=0, maximum=HIGHEST_RPM)]
    steps: Annotated[int, Bounds(2, MOST_STEPS)] = 4
    turns: Annotated[Fraction, Bounds(8, 10_000)] = Fraction(16)


@dataclass(frozen=True)
class TimingOverSpeed(SampleKind):
    """See `TimingKeys`."""

    keys: TimingKeys

    usual_trials: ClassVar[int] = 8
    measures: ClassVar[Mapping[str, Statistic]] = {
        "angle_error_deg": Statistic("at_most", "degrees", "angle error", MEDIAN),
        "delay_us": Statistic("at_most", "\N{MICRO SIGN}s", "fixed delay of sparks", MEDIAN),
        "scatter_deg": Statistic("at_most", "degrees", "scatter of sparks", MEDIAN),
    }

    def needs(self, bench: QualifyBench) -> str:
        """Reports, captured coils, and an advance that somebody tells."""
        signals = bench.plan.signals
        known = signals.advance or signals.advance_deg is not None
        return reports_needed(bench) or sparks_needed(bench) or ("" if known else NO_ADVANCE)

    def plan(self, bench: QualifyBench, number: int, seed: int, before: Sequence[Shown]) -> Plan:
        """All speeds in one run."""
        low, high, steps = self.keys.from_rpm, self.keys.to_rpm, self.keys.steps
        segments: list[Segment] = []
        rpm = Fraction(0)
        for step in range(steps):
            following = low + (high - low) * step / (steps - 1)
            segments.append(ramp(rpm, following, rpm_per_s=RUN_UP_RPM_PER_S))
            segments.append(hold(following, turns=self.keys.turns + TURNS_SETTLED))
            rpm = following
        return bench.trial(segments, seed)

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Measure every coil at every speed."""
        run = HeardRun(plan)
        for event in rig.run(plan):
            run.hear(event)
        if not whole(run.finished):
            return None
        try:
            timing = timing_of([run])
        except UsageError:
            return Shown(False, "no spark while the controller had sync")
        return _shown(timing)

    def evidence(self, measure: str, trials: Sequence[Shown]) -> list[dict[str, Any]]:
        """Every coil at every speed of every trial."""
        rows = [
            {"trial": number, **row}
            for number, trial in enumerate(trials)
            for row in trial.figures.get("rows", ())
        ]
        return [{"kind": "timing", "rows": rows}]

    def words(self, measure: str, trials: Sequence[Shown]) -> str:
        """What could not be told, and why."""
        untold = [trial.detail for trial in trials if measure not in trial.figures]
        return untold[0] if untold else ""


def _shown(timing: Timing) -> Shown:
    rows = [row for row in timing.rows if row.kind == "ignition" and row.steady and row.rpm]
    figures: dict[str, Any] = {
        "rows": [
            {
                "rpm": row.rpm,
                "line": row.line,
                "error_deg": row.error_deg,
                "scatter_deg": row.scatter_deg,
                "count": row.count,
            }
            for row in rows
        ]
    }
    found = timing.ignition
    if rows:
        figures["scatter_deg"] = round(max(row.scatter_deg for row in rows), DIGITS)
    if found.reference_deg is None or found.delay_us is None:
        return Shown(False, " ".join(found.needs), figures=figures)
    figures["angle_error_deg"] = round(abs(found.reference_deg.value), DIGITS)
    figures["delay_us"] = round(found.delay_us.value, 2)
    missed, doubled = sum(row.missed for row in rows), sum(row.doubled for row in rows)
    detail = f"{found.reference_deg.value:+.2f} degrees, {found.delay_us.value:.1f} us late"
    if found.turn == "wrong":
        return Shown(False, f"360 degrees out; {detail}", figures=figures)
    return Shown(not missed + doubled, f"{detail}; {missed} missed, {doubled} doubled", "", figures)
