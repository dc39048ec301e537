"""How long after the last tooth the controller says that the engine stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf
from typing import Annotated, Any, ClassVar

from edgewheel.bench.events import Finished, Reported
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.controller.lines import value
from edgewheel.fault.fields import Bounds
from edgewheel.motion.segment import DEG_PER_S_PER_RPM, HIGHEST_RPM, hold
from edgewheel.search.qualify.bench import QualifyBench, run_up
from edgewheel.search.qualify.kinds import LONGEST_S, Figure, SampleKind, Statistic
from edgewheel.search.qualify.sampling import MEDIAN, points, reports_needed, whole
from edgewheel.search.qualify.shown import Shown
from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.pins import pin_edges


@dataclass(frozen=True)
class Stall(SampleKind):
    """The crank stops dead at `rpm`: when the controller says that it has no sync.

    Milliseconds from the last edge of the main track to the first report without sync, or of no
    speed from a controller that says nothing of sync; so its reports' own distance is part of it.
    The crank stands for `stand_s`. Without sync before the stop it counts as never said.
    """

    rpm: Annotated[Fraction, Bounds(above=0, maximum=HIGHEST_RPM)]
    stand_s: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_S)] = Fraction(2)

    usual_trials: ClassVar[int] = 12
    measures: ClassVar[Mapping[str, Statistic]] = {
        "ms": Statistic("at_most", "ms", "time until it says so", MEDIAN)
    }

    def needs(self, bench: QualifyBench) -> str:
        """Reports."""
        return reports_needed(bench)

    def plan(self, bench: QualifyBench, number: int, seed: int, before: Sequence[Shown]) -> Plan:
        """To standstill at once, somewhere in a cycle."""
        return bench.trial([*run_up(self.rpm), hold(Fraction(0), seconds=self.stand_s)], seed)

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Wait for the report."""
        motion = plan.signal.motion
        stop_s, stop_deg = float(motion[2].begin_s), float(motion.at(motion[2].begin_s).angle_deg)
        deg_per_s = DEG_PER_S_PER_RPM * float(self.rpm)
        last_s = stop_s - _since_last_edge_deg(plan, stop_deg) / deg_per_s
        said_s, claimed = inf, False
        finished: Finished | None = None
        for event in rig.run(plan):
            if isinstance(event, Reported):
                synced = _claims(plan, event)
                claimed |= event.seconds < stop_s and synced
                if event.seconds > last_s and not synced and said_s == inf:
                    said_s = event.seconds
            elif isinstance(event, Finished):
                finished = event
        if not whole(finished):
            return None
        if not claimed:
            return Shown(False, "no sync before the stop", figures={"ms": inf})
        figures = {"stopped_at_deg": stop_deg % plan.wheel.period, "ms": 1000 * (said_s - last_s)}
        if said_s == inf:
            detail = f"it still claims sync after {float(self.stand_s):g} s at rest"
            return Shown(False, detail, figures=figures)
        return Shown(True, f"no sync said {figures['ms']:.1f} ms after the last edge", "", figures)

    def evidence(self, measure: str, trials: Sequence[Shown]) -> list[dict[str, Any]]:
        """The time over where the crank stopped."""
        stop = Figure("stopped_at_deg", "crank angle of the stop", "degrees")
        return [points(stop, self.figure(measure), trials)]


def _claims(plan: Plan, report: Reported) -> bool:
    """Whether a report claims sync, or a turning engine where it says nothing of sync."""
    signals = plan.signals
    if signals.sync:
        words = tuple(value(word) for word in signals.synced)
        return report.fields.get(signals.sync) in words
    rpm = report.fields.get(signals.speed)
    return isinstance(rpm, float) and rpm > 0


def _since_last_edge_deg(plan: Plan, deg: float) -> float:
    """Degrees from the main track's last edge to an angle."""
    wheel = plan.wheel
    edges = pin_edges(main_track(wheel), wheel.period)
    return min((deg - float(edge.angle)) % wheel.period for edge in edges)
