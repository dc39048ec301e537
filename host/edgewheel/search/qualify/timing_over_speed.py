"""Where sparks stand over speed: the angle's error, the delay, the scatter."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import isnan
from typing import Annotated, Any, ClassVar

from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.timing.rows import Row
from edgewheel.errors import UsageError
from edgewheel.fault.fields import Bounds
from edgewheel.motion.segment import HIGHEST_RPM, Segment, hold, ramp
from edgewheel.search.qualify.bench import RUN_UP_RPM_PER_S, QualifyBench
from edgewheel.search.qualify.bounds import finite
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
from edgewheel.wheel.model import TURN

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
    without its sign, or the largest at any where coils fire in the wrong turn, for another cylinder
    or at the wrong edge, 360 where each fires in both turns; `delay_us` the fixed delay that makes
    sparks later with speed; `scatter_deg` the largest standard deviation of a coil at a speed;
    `lost_sparks` are those that never came and those that came twice, while there was sync and no
    cut.
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
        "lost_sparks": Statistic("at_most", "sparks", "missed or doubled sparks", MEDIAN),
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
        return _shown(timing, set(plan.signals.sparks))

    def evidence(self, measure: str, trials: Sequence[Shown]) -> list[dict[str, Any]]:
        """Every coil at every speed of every trial."""
        rows = [
            {"trial": number, **row}
            for number, trial in enumerate(trials)
            for row in trial.figures.get("rows", ())
        ]
        return [{"kind": "timing", "rows": rows}]


def _shown(timing: Timing, coils: set[str]) -> Shown:
    rows = [row for row in timing.rows if row.kind == "ignition" and row.steady and row.rpm]
    figures: dict[str, Any] = {"rows": [_row(row) for row in rows]}
    if silent := coils - {row.line for row in rows if row.count}:
        return Shown(False, f"no spark of {', '.join(sorted(silent))}", figures=figures)
    figures["scatter_deg"] = round(max(row.scatter_deg for row in rows), DIGITS)
    missed, doubled = sum(row.missed for row in rows), sum(row.doubled for row in rows)
    figures["lost_sparks"] = missed + doubled
    found = timing.ignition
    if found.reference_deg is None or found.delay_us is None:
        return Shown(False, " ".join(found.needs), figures=figures)
    misplaced = _misplaced(timing)
    angle = found.reference_deg.value
    if found.turn == "both":
        angle = float(TURN)
    elif misplaced:
        angle = max((row.error_deg for row in rows if not isnan(row.error_deg)), key=abs)
    figures["angle_error_deg"] = round(abs(angle), DIGITS)
    figures["delay_us"] = round(found.delay_us.value, 2)
    lost = [f"{missed} sparks missed, {doubled} doubled"] if missed + doubled else []
    placed = f"{found.reference_deg.value:+.2f} degrees, {found.delay_us.value:.1f} us late"
    wrong = [*misplaced, *lost]
    return Shown(not wrong, ", ".join(wrong) or placed, figures=figures)


def _misplaced(timing: Timing) -> list[str]:
    """Why the error that `edgewheel.bench.timing.separate` leaves over is not the coils' own."""
    found = timing.ignition
    turns = {
        "wrong": ["360 degrees out"],
        "both": ["coils fire in both turns"],
        "unclear": ["some coils are 360 degrees out"],
    }
    edges = {"wrong": ["the wrong crank edge is counted"]}
    misfits = sorted({misfit.line for run in timing.runs for misfit in run.misfits})
    swapped = [f"{', '.join(misfits)} out of step with the other coils"] if misfits else []
    return [*turns.get(found.turn, []), *edges.get(found.edge, []), *swapped]


def _row(row: Row) -> dict[str, Any]:
    numbers = {"error_deg": finite(row.error_deg), "scatter_deg": finite(row.scatter_deg)}
    return {"rpm": row.rpm, "line": row.line, **numbers, "count": row.count}
