"""The crank stops while a coil charges: how long the coil stays on, and what fires after that."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import inf
from statistics import median
from typing import Annotated, Any, ClassVar

from edgewheel.bench.events import Finished, Pulsed
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import CYCLE_DEG, Truth
from edgewheel.fault.fields import Bounds
from edgewheel.motion.segment import DEG_PER_S_PER_RPM, HIGHEST_RPM, Segment, hold
from edgewheel.search.qualify.bench import QualifyBench, run_up
from edgewheel.search.qualify.kinds import LONGEST_S, Figure, SampleKind, Statistic
from edgewheel.search.qualify.sampling import MEDIAN, charging_level, points, sparks_needed, whole
from edgewheel.search.qualify.shown import Shown
from edgewheel.search.trial import start_deg

SHARES = (Fraction(1, 4), Fraction(1, 2), Fraction(3, 4))
"""Of a dwell, where the crank stops."""

LOOKED_S = Fraction(1, 2)
FINE = 10**6


@dataclass(frozen=True)
class DwellStop(SampleKind):
    """The crank stops dead at `rpm` in the middle of a dwell.

    A first trial finds where each coil charges; each later one stops within one of these dwells, at
    a quarter, half and three quarters of it. `off_ms` is the time from the stop until every coil
    that was charging is off (it sparks then, at an angle that nobody chose); `stray_sparks` are all
    other sparks while the crank stands for `stand_s`.
    """

    rpm: Annotated[Fraction, Bounds(above=0, maximum=HIGHEST_RPM)]
    stand_s: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_S)] = Fraction(1)

    usual_trials: ClassVar[int] = 13
    measures: ClassVar[Mapping[str, Statistic]] = {
        "off_ms": Statistic("at_most", "ms", "time to coil off", MEDIAN),
        "stray_sparks": Statistic("at_most", "sparks", "other sparks at rest", MEDIAN),
    }

    def needs(self, bench: QualifyBench) -> str:
        """Captured coils."""
        return sparks_needed(bench)

    def plan(self, bench: QualifyBench, number: int, seed: int, before: Sequence[Shown]) -> Plan:
        """A look at the dwells first, then a stop in one of them."""
        dwells = before[0].figures.get("dwells") if before else None
        if not dwells:
            look = hold(self.rpm, seconds=LOOKED_S + 8 * 60 / self.rpm)
            return bench.trial([*run_up(self.rpm), look], seed)
        line = sorted(dwells)[(number - 1) % len(dwells)]
        share = SHARES[(number - 1) // len(dwells) % len(SHARES)]
        on_deg, off_deg = (Fraction(round(deg * FINE), FINE) for deg in dwells[line])
        at_deg = on_deg + share * ((off_deg - on_deg) % CYCLE_DEG)
        begin_deg = start_deg(seed)
        lead_in = run_up(self.rpm)
        turned = begin_deg + sum((segment.mean_deg for segment in lead_in), Fraction(0))
        further = hold(self.rpm, seconds=_way(turned, at_deg) / (DEG_PER_S_PER_RPM * self.rpm))
        stand: Segment = hold(Fraction(0), seconds=self.stand_s)
        return bench.from_angle([*lead_in, further, stand], begin_deg, seed)

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Look at the dwells, or stop in one."""
        edges: list[Pulsed] = []
        finished: Finished | None = None
        for event in rig.run(plan):
            if isinstance(event, Pulsed) and event.line in plan.signals.sparks:
                edges.append(event)
            elif isinstance(event, Finished):
                finished = event
        if not whole(finished):
            return None
        if len(plan.signal.motion) == 3:
            return _looked(plan, edges)
        return _stopped(plan, edges)

    def evidence(self, measure: str, trials: Sequence[Shown]) -> list[dict[str, Any]]:
        """The time, or the sparks, over where in the dwell the crank stopped."""
        into = Figure("into_dwell_ms", "time into the dwell", "ms")
        return [points(into, self.figure(measure), trials)]

    def words(self, measure: str, trials: Sequence[Shown]) -> str:
        """How many trials met a dwell; the first only looked."""
        met = sum("off_ms" in trial.figures for trial in trials)
        return f"{met} of {max(len(trials) - 1, 0)} stops met a coil that was charging"


def _way(from_deg: Fraction, to_deg: Fraction) -> Fraction:
    """Degrees forward to an angle, more than a cycle so that every coil has fired."""
    return CYCLE_DEG + (to_deg - from_deg) % CYCLE_DEG


def _looked(plan: Plan, edges: Sequence[Pulsed]) -> Shown:
    """Where each coil begins to charge and where it fires, in degrees of the cycle."""
    motion = plan.signal.motion
    truth, begin_s, end_s = Truth(motion), float(motion[2].begin_s), float(motion.end_s)
    dwells: dict[str, tuple[float, float]] = {}
    for line in plan.signals.sparks:
        active = charging_level(plan, line)
        own = [e for e in edges if e.line == line and begin_s <= e.seconds <= end_s]
        spans = [
            (truth.angle_deg(on.seconds), off.seconds - on.seconds)
            for on, off in pairwise(own)
            if on.level == active and off.level != active
        ]
        if spans:
            on_deg = spans[-1][0]
            speed = DEG_PER_S_PER_RPM * float(motion[2].segment.rpm_begin)
            dwells[line] = (on_deg, (on_deg + speed * median(s for _, s in spans)) % CYCLE_DEG)
    if not dwells:
        return Shown(False, "no coil was charged, so there is no dwell to stop in")
    return Shown(True, f"{len(dwells)} coils charge", figures={"dwells": dwells})


def _stopped(plan: Plan, edges: Sequence[Pulsed]) -> Shown:
    stop_s = float(plan.signal.motion[3].begin_s)
    levels: dict[str, Pulsed] = {}
    for edge in edges:
        if edge.seconds <= stop_s:
            levels[edge.line] = edge
    charging = {
        line: edge for line, edge in levels.items() if edge.level == charging_level(plan, line)
    }
    sparks = [
        edge
        for edge in edges
        if edge.seconds > stop_s and edge.level != charging_level(plan, edge.line)
    ]
    off_s = {edge.line: edge.seconds for edge in reversed(sparks) if edge.line in charging}
    strays = len(sparks) - len(off_s)
    if not charging:
        told = f"no coil was charging at the stop; {strays} sparks after it"
        return Shown(True, told, figures={"stray_sparks": strays})
    slowest = max(charging, key=lambda line: off_s.get(line, inf))
    last_s = off_s.get(slowest, inf)
    figures = {
        "into_dwell_ms": 1000 * (stop_s - charging[slowest].seconds),
        "off_ms": 1000 * (last_s - stop_s),
        "stray_sparks": strays,
    }
    if last_s == inf:
        return Shown(False, f"{slowest} was still on at the end", figures=figures)
    detail = f"{slowest} off {figures['off_ms']:.2f} ms after the stop, {strays} other sparks"
    return Shown(True, detail, figures=figures)
