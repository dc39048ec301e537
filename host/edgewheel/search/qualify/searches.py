"""The tests that vary one number until the controller fails."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from edgewheel.bench.events import Event, Finished, SyncGained, SyncLost
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.fault.fields import Bounds
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import HIGHEST_RPM, Segment, hold, ramp
from edgewheel.search.qualify.bench import RUN_UP_RPM_PER_S, QualifyBench, run_up, stay
from edgewheel.search.qualify.kinds import FASTEST_RPM_PER_S, LONGEST_S, exact, set_key
from edgewheel.search.qualify.sampling import whole
from edgewheel.search.qualify.shown import Shown
from edgewheel.search.trial import judge
from edgewheel.yamlfile import Node

Rpm = Annotated[Fraction, Bounds(above=0, maximum=HIGHEST_RPM)]
Seconds = Annotated[Fraction, Bounds(above=0, maximum=LONGEST_S)]

UNITS = {  # by the end of a key, the longer one first
    "_per_s": "1/s",
    "_us": "us",
    "_ms": "ms",
    "_s": "s",
    "_deg": "degrees",
    "_percent": "%",
    "_rpm": "rpm",
    "_mv": "mV",
}


@dataclass(frozen=True)
class Speed:
    """To which speed the controller keeps sync, or from which on it finds or finds back to it.

    From standstill to `begin_rpm`, held until there should be sync, then to the speed that is
    varied, held for `hold_s` and four turns. Without `begin_rpm` it goes there at once. `hold`:
    sync must come in time and never be lost. `return`: whatever was before, it must be there in the
    end; so from a speed beyond what the controller can, down to where it comes back.
    """

    begin_rpm: Annotated[Fraction | None, Bounds(above=0, maximum=HIGHEST_RPM)] = None
    sync_must: Literal["hold", "return"] = "hold"
    rate_rpm_per_s: Annotated[Fraction, Bounds(above=0, maximum=FASTEST_RPM_PER_S)] = (
        RUN_UP_RPM_PER_S
    )
    hold_s: Seconds = Fraction(2, 5)

    measure = "rpm"
    unit = "rpm"

    def plan(self, bench: QualifyBench, text: str, seed: int) -> Plan:
        """To the varied speed."""
        rpm, begin = exact(text), self.begin_rpm
        before: list[Segment] = [] if begin is None else run_up(begin)
        way = [ramp(begin or Fraction(0), rpm, rpm_per_s=self.rate_rpm_per_s)]
        return bench.trial([*before, *(way if rpm != begin else []), stay(rpm, self.hold_s)], seed)

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Sync held, or back."""
        return judged(rig, plan) if self.sync_must == "hold" else _returns(rig, plan)


@dataclass(frozen=True)
class Ramp:
    """How fast the speed may change from `from_rpm` to `to_rpm` without loss of sync."""

    from_rpm: Rpm
    to_rpm: Rpm
    hold_s: Seconds = Fraction(3, 10)

    measure = "rpm_per_s"
    unit = "rpm/s"

    def plan(self, bench: QualifyBench, text: str, seed: int) -> Plan:
        """At the varied rate."""
        change = ramp(self.from_rpm, self.to_rpm, rpm_per_s=exact(text))
        return bench.trial([*run_up(self.from_rpm), change, stay(self.to_rpm, self.hold_s)], seed)

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Sync held throughout."""
        return judged(rig, plan)


@dataclass(frozen=True)
class RippleDepth:
    """How deep compression may make the speed swing while the engine is cranked at `rpm`.

    `per_turn` compressions a turn, one of them at `slowest_at_deg`; for `turns` turns.
    """

    rpm: Rpm
    per_turn: Annotated[Fraction, Bounds(above=0, maximum=12)]
    slowest_at_deg: Annotated[Fraction, Bounds(0, 720)] = Fraction(0)
    turns: Annotated[Fraction, Bounds(above=0, maximum=1000)] = Fraction(8)

    measure = "depth"
    unit = ""

    def plan(self, bench: QualifyBench, text: str, seed: int) -> Plan:
        """Under the varied depth."""
        depth = exact(text)
        ripple = CompressionRipple(depth, self.per_turn, self.slowest_at_deg) if depth else None
        return bench.trial([hold(self.rpm, turns=self.turns, ripple=ripple)], seed)

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Sync found and held."""
        return judged(rig, plan)


@dataclass(frozen=True)
class AtSpeed:
    """How much of a fault the controller bears at `rpm`; `vary` names one number of the fault."""

    rpm: Rpm
    hold_s: Seconds = Fraction(3, 10)


@dataclass(frozen=True)
class FaultNumber:
    """A fault with one of its numbers varied; `name` is the fault's in the trial's bench file."""

    keys: AtSpeed
    name: str
    fault: Node
    key: str

    @property
    def measure(self) -> str:
        return self.key

    @property
    def unit(self) -> str:
        return next((unit for end, unit in UNITS.items() if self.key.endswith(end)), "")

    def plan(self, bench: QualifyBench, text: str, seed: int) -> Plan:
        """With the varied number."""
        fault = set_key(self.fault, self.key, text)
        rpm, hold_s = self.keys.rpm, self.keys.hold_s
        segments = [*run_up(rpm), stay(rpm, hold_s)]
        return bench.trial(segments, seed, {self.name: fault})

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Sync found and held."""
        return judged(rig, plan)


def judged(rig: Rig, plan: Plan) -> Shown | None:
    """Play a plan until it is certain whether sync came in time and was held."""
    found = judge(rig, plan)
    return None if found is None else Shown(*found)


class _End:
    """Listens to whether there is sync in the end."""

    def __init__(self) -> None:
        self.gained: SyncGained | None = None
        self.lost: SyncLost | None = None
        self.finished: Finished | None = None

    def hear(self, event: Event) -> None:
        """Take an event of the run."""
        if isinstance(event, SyncGained):
            self.gained = event
        elif isinstance(event, SyncLost):
            self.gained, self.lost = None, event
        elif isinstance(event, Finished):
            self.finished = event


def _returns(rig: Rig, plan: Plan) -> Shown | None:
    """Play a plan to its end: whether there is sync then."""
    end = _End()
    for event in rig.run(plan):
        end.hear(event)
    if not whole(end.finished):
        return None
    if end.gained is not None:
        return Shown(True, f"sync from {end.gained.rpm:.0f} rpm on")
    if end.lost is None:
        return Shown(False, "the controller never found sync")
    return Shown(False, f"no sync in the end: {end.lost.detail}", end.lost.reason)
