"""From the first edge to sync, from crank angles all over the cycle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf
from typing import Annotated, Any, ClassVar

from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import CYCLE_DEG
from edgewheel.fault.fields import Bounds
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import HIGHEST_RPM, hold
from edgewheel.search.qualify.bench import QualifyBench
from edgewheel.search.qualify.bounds import finite
from edgewheel.search.qualify.kinds import LONGEST_S, SampleKind, Statistic
from edgewheel.search.qualify.sampling import NINE_OF_TEN, reports_needed
from edgewheel.search.qualify.shown import Shown
from edgewheel.search.starts import play_start

GOLDEN_DEG = Fraction(889, 2)
"""720 degrees by the golden ratio, within half a degree; 1440 angles differ, for 889 and 1440 have
no divisor in common.
"""


@dataclass(frozen=True)
class FromAngles(SampleKind):
    """The engine is cranked at `rpm` from crank angles spread evenly over the cycle.

    Compressions swing the speed by `depth`, `per_turn` times a turn, slowest at the first
    cylinder's top dead centre. `degrees` are crank degrees from the first edge to the first sign of
    sync, `synced_percent` is the share of starts that find it within `crank_s`.
    """

    rpm: Annotated[Fraction, Bounds(above=0, maximum=HIGHEST_RPM)]
    depth: Annotated[Fraction, Bounds(0, Fraction(99, 100))] = Fraction(1, 4)
    per_turn: Annotated[Fraction, Bounds(above=0, maximum=12)] = Fraction(2)
    crank_s: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_S)] = Fraction(4)

    usual_trials: ClassVar[int] = 36
    measures: ClassVar[Mapping[str, Statistic]] = {
        "degrees": Statistic("at_most", "degrees", "crank angle to sync", NINE_OF_TEN),
        "synced_percent": Statistic("at_least", "%", "starts that find sync"),
    }

    def needs(self, bench: QualifyBench) -> str:
        """Reports."""
        return reports_needed(bench)

    def plan(self, bench: QualifyBench, number: int, seed: int, before: Sequence[Shown]) -> Plan:
        """From one angle; the next is a golden section of the cycle further, so that any number of
        them is spread evenly.
        """
        tdc = bench.plan.wheel.tdc
        slowest = tdc[0][1] if tdc else Fraction(0)
        ripple = CompressionRipple(self.depth, self.per_turn, slowest) if self.depth else None
        segments = [hold(self.rpm, seconds=self.crank_s, ripple=ripple)]
        begin_deg = number * GOLDEN_DEG % CYCLE_DEG
        return bench.from_angle(segments, begin_deg, seed)

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Crank until there is sync."""
        start = play_start(rig, plan, plan.signal.motion.start_deg)
        degrees = inf if start.degrees is None else start.degrees
        figures = {**vars(start), "degrees": degrees}
        if start.degrees is None:
            return Shown(False, "no sync", figures=figures)
        detail = f"sync after {start.degrees:.1f} degrees, {start.teeth} teeth"
        return Shown(True, detail, figures=figures)

    def evidence(self, measure: str, trials: Sequence[Shown]) -> list[dict[str, Any]]:
        """Degrees to sync over the angle of the start."""
        starts = [
            {**trial.figures, "degrees": finite(trial.figures["degrees"])} for trial in trials
        ]
        return [{"kind": "starts", "starts": starts}]
