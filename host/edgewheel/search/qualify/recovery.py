"""How many teeth the controller needs to be right again after a fault of a few teeth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf
from random import Random
from typing import Annotated, Any, ClassVar

from edgewheel.bench.events import Event, Finished, Pulsed, Reported, SyncGained, SyncLost
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import Truth
from edgewheel.controller.lines import value
from edgewheel.fault.fields import Bounds
from edgewheel.motion.segment import DEG_PER_S_PER_RPM, HIGHEST_RPM, hold
from edgewheel.search.qualify.bench import QualifyBench, run_up
from edgewheel.search.qualify.kinds import Figure, SampleKind, Statistic, set_key
from edgewheel.search.qualify.sampling import (
    NINE_OF_TEN,
    charging_level,
    points,
    reports_needed,
    sparks_needed,
    whole,
)
from edgewheel.search.qualify.shown import Shown
from edgewheel.search.starts import teeth_between
from edgewheel.wheel.pins import pin_edges
from edgewheel.yamlfile import Node

MOST_TURNS = 10**4


@dataclass(frozen=True)
class RecoveryKeys:
    """After a fault of one tooth, how many teeth pass until the controller is right again.

    The fault comes once, for one turn, at `rpm`, at a tooth drawn for each trial unless it names
    its `teeth`. Counted are the teeth of its track, with the first that has the fault, to the first
    sign of a right position: a report that claims it rightly, or a coil that charges before that.
    0 teeth: sync was never lost. Never again within `watch_turns`: it does not recover.
    """

    rpm: Annotated[Fraction, Bounds(above=0, maximum=HIGHEST_RPM)]
    watch_turns: Annotated[Fraction, Bounds(above=0, maximum=MOST_TURNS)] = Fraction(8)


@dataclass(frozen=True)
class Recovery(SampleKind):
    """A fault of a few teeth, and the way back; `name` is the fault's in the bench file."""

    keys: RecoveryKeys
    name: str
    fault: Node

    usual_trials: ClassVar[int] = 36
    measures: ClassVar[Mapping[str, Statistic]] = {
        "teeth": Statistic("at_most", "teeth", "teeth until it is right again", NINE_OF_TEN)
    }

    def needs(self, bench: QualifyBench) -> str:
        """Reports, and sparks: else a wrong position passes for a right one."""
        return reports_needed(bench) or sparks_needed(bench)

    def plan(self, bench: QualifyBench, number: int, seed: int, before: Sequence[Shown]) -> Plan:
        """The fault for one turn, once there is sync."""
        rpm = self.keys.rpm
        lead_in = run_up(rpm)
        begin_s = sum((segment.seconds for segment in lead_in), Fraction(0))
        fault = set_key(self.fault, "from_s", str(begin_s))
        fault = set_key(fault, "to_s", str(begin_s + 60 / rpm))
        if "teeth" not in fault.section().nodes:
            fault = set_key(fault, "teeth", (self._drawn(bench, seed),))
        segments = [*lead_in, hold(rpm, turns=1 + self.keys.watch_turns)]
        return bench.trial(segments, seed, {self.name: fault})

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Count the teeth until the controller is right again."""
        begin_s = float(plan.signal.motion[2].begin_s)
        watch = _Watch(plan, begin_s)
        for event in rig.run(plan):
            watch.hear(event)
        if not whole(watch.finished):
            return None
        if not watch.before:
            return Shown(False, "no sync before the fault", figures={"teeth": inf})
        fault: Any = plan.signal.faults[self.name]
        return _shown(plan, watch, fault.track, fault.repetition.teeth)

    def evidence(self, measure: str, trials: Sequence[Shown]) -> list[dict[str, Any]]:
        """Teeth to recover over the tooth that had the fault."""
        return [points(Figure("tooth", "tooth with the fault"), self.figure(measure), trials)]

    def words(self, measure: str, trials: Sequence[Shown]) -> str:
        """How often sync was lost at all, and how often it was not there to be lost."""
        met = [trial.figures["teeth"] for trial in trials if "tooth" in trial.figures]
        parts = [f"sync was lost in {sum(teeth > 0 for teeth in met)} of {len(met)} trials"]
        if never := met.count(inf):
            parts.append(f"in {never} it never came back")
        if without := len(trials) - len(met):
            parts.append(f"in {without} more there was none before the fault")
        return ", ".join(parts)

    def _drawn(self, bench: QualifyBench, seed: int) -> Node:
        """A tooth of the fault's track."""
        track = self.fault.section().required("track")
        names = tuple(one.name for one in bench.plan.wheel.tracks)
        count = len(bench.plan.wheel.track(track.choice(names)).teeth)
        return Node(self.fault.place, str(1 + Random(f"{seed} tooth").randrange(count)))


class _Watch:
    """Whether sync was there before the fault, and when it was there again for good."""

    def __init__(self, plan: Plan, begin_s: float) -> None:
        self._plan = plan
        self._begin_s = begin_s
        self._words = tuple(value(word) for word in plan.signals.synced)
        self._unsynced_s = begin_s
        self._charges: list[float] = []
        self.before = False
        self.lost: SyncLost | None = None
        self.gained_s: float | None = None
        self.finished: Finished | None = None

    def hear(self, event: Event) -> None:
        """Take an event of the run."""
        signals = self._plan.signals
        if isinstance(event, SyncGained):
            self.gained_s = event.seconds
            self.before |= event.seconds < self._begin_s
        elif isinstance(event, SyncLost):
            self.before &= event.seconds >= self._begin_s
            self.lost, self.gained_s = event, None
            self._unsynced_s = max(self._unsynced_s, event.seconds)
        elif isinstance(event, Reported) and signals.sync in event.fields:
            if event.fields[signals.sync] not in self._words:
                self._unsynced_s = max(self._unsynced_s, event.seconds)
        elif isinstance(event, Pulsed) and event.line in signals.sparks:
            if event.level == charging_level(self._plan, event.line):
                self._charges.append(event.seconds)
        elif isinstance(event, Finished):
            self.finished = event

    @property
    def right_s(self) -> float | None:
        """The first sign of the position that was right in the end."""
        if self.gained_s is None:
            return None
        after = (s for s in self._charges if self._unsynced_s < s < self.gained_s)
        return min(after, default=self.gained_s)


def _shown(plan: Plan, watch: _Watch, track: str, teeth: tuple[int, ...]) -> Shown:
    begin_deg = Truth(plan.signal.motion).angle_deg(float(plan.signal.motion[2].begin_s))
    wheel = plan.wheel
    leading = [e for e in pin_edges(wheel.track(track), wheel.period) if e.leading]
    ahead = {e.tooth: (float(e.angle) - begin_deg) % wheel.period for e in reversed(leading)}
    tooth = min(teeth, key=lambda number: ahead[number])
    figures: dict[str, Any] = {"tooth": tooth}
    if watch.lost is None:
        return Shown(True, f"tooth {tooth}: sync was kept", figures={**figures, "teeth": 0})
    if watch.right_s is None:
        detail = f"tooth {tooth}: lost and never back: {watch.lost.detail}"
        return Shown(False, detail, watch.lost.reason, {**figures, "teeth": inf})
    speed = DEG_PER_S_PER_RPM * float(plan.signal.motion[2].segment.rpm_begin)
    right_deg = begin_deg + (watch.right_s - float(plan.signal.motion[2].begin_s)) * speed
    first_deg = begin_deg + ahead[tooth]
    passed = teeth_between(wheel.track(track), wheel.period, first_deg, right_deg)
    detail = f"tooth {tooth}: right again after {passed} teeth"
    return Shown(True, detail, watch.lost.reason, {**figures, "teeth": passed})
