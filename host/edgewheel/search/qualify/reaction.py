"""What the controller makes of a fault: it keeps sync, it notices, or it is misled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Any, ClassVar, Literal

from edgewheel.bench.events import Cause, Finished, SyncGained, SyncLost
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.fault.fields import Bounds
from edgewheel.motion.segment import HIGHEST_RPM
from edgewheel.search.qualify.bench import QualifyBench, run_up, stay
from edgewheel.search.qualify.kinds import LONGEST_S, SampleKind, Statistic, set_key
from edgewheel.search.qualify.sampling import (
    reports_needed,
    sentences,
    sparks_needed,
    whole,
)
from edgewheel.search.qualify.shown import Shown
from edgewheel.yamlfile import Node

Makes = Literal["kept", "noticed", "misled"]
_OPEN = (Cause.SAID, Cause.COUNTED)


@dataclass(frozen=True)
class ReactionKeys:
    """In which share of trials the controller does what `expect` says about a fault at `rpm`.

    - `kept`: sync is found and held, and every spark stands where it must;
    - `noticed`: it says that it has no sync, before any spark stands wrong for longer than a
      report;
    - `misled`: it claims sync while speed or sparks are wrong. A weakness that is known can be
      declared so, and the test fails when it is no longer there.

    The fault is there from the beginning, or `once_in_sync`. It is looked at for `watch_s` and four
    turns.
    """

    rpm: Annotated[Fraction, Bounds(above=0, maximum=HIGHEST_RPM)]
    expect: Literal["kept", "noticed", "misled"]
    begins: Literal["at_once", "once_in_sync"] = "once_in_sync"
    watch_s: Annotated[Fraction, Bounds(above=0, maximum=LONGEST_S)] = Fraction(3, 10)


@dataclass(frozen=True)
class Reaction(SampleKind):
    """A fault and what the controller makes of it; `name` is the fault's in the bench file."""

    keys: ReactionKeys
    name: str
    fault: Node

    usual_trials: ClassVar[int] = 20
    measures: ClassVar[Mapping[str, Statistic]] = {
        "share_percent": Statistic("at_least", "%", "trials as expected")
    }

    def needs(self, bench: QualifyBench) -> str:
        """Reports, and sparks: without them a controller that is misled looks like one that is
        right.
        """
        return reports_needed(bench) or sparks_needed(bench)

    def plan(self, bench: QualifyBench, number: int, seed: int, before: Sequence[Shown]) -> Plan:
        """The fault at a speed, from the angle that the seed draws."""
        before_s, fault = run_up(self.keys.rpm), self.fault
        segments = [*before_s, stay(self.keys.rpm, self.keys.watch_s)]
        if self.keys.begins == "once_in_sync":
            begin_s = sum((segment.seconds for segment in before_s), Fraction(0))
            fault = set_key(fault, "from_s", str(begin_s))
        return bench.trial(segments, seed, {self.name: fault})

    def play(self, rig: Rig, plan: Plan) -> Shown | None:
        """Play until it is clear what the controller makes of it."""
        found: list[SyncGained | SyncLost] = []
        finished: Finished | None = None
        for event in rig.run(plan):
            if isinstance(event, SyncGained | SyncLost):
                found.append(event)
            elif isinstance(event, Finished):
                finished = event
        if not whole(finished):
            return None
        if self.keys.begins == "once_in_sync":
            begin_s = float(plan.signal.motion[2].begin_s)
            found = found[max(sum(one.seconds < begin_s for one in found) - 1, 0) :]
            if not (found and isinstance(found[0], SyncGained) and found[0].seconds < begin_s):
                return Shown(False, "no sync before the fault, so it met none")
        makes, detail, reason = _made_of(found)
        return Shown(makes == self.keys.expect, detail, reason)

    def evidence(self, measure: str, trials: Sequence[Shown]) -> list[dict[str, Any]]:
        """In words."""
        return [sentences(trials)]


def _made_of(found: Sequence[SyncGained | SyncLost]) -> tuple[Makes, str, str]:
    """What the findings of a trial amount to, in words, with the controller's own."""
    lost = [one for one in found if isinstance(one, SyncLost)]
    if not lost:
        return ("kept", "sync was kept", "") if found else ("noticed", "it never claims sync", "")
    first = lost[0]
    if first.cause in _OPEN:
        return "noticed", f"noticed: {first.detail}", first.reason
    return "misled", f"misled: {first.detail}", first.reason
