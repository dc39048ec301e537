"""Diagnose: vary the signal until the controller syncs rightly; what did it names the setting.

Changes are tried one at a time, likeliest first. One that brings the controller further is kept,
so that two wrong settings are found one after the other. In the end every kept change but the last
is left out once, so that none is named that is not needed.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from itertools import combinations

from edgewheel.bench.plan import Plan
from edgewheel.search.angles import (
    TOO_LONG_FILTER,
    Timed,
    angle_changes,
    firing_order,
    narrowed,
    told_by_narrowed,
)
from edgewheel.search.cam_suspects import cam_changes
from edgewheel.search.crank_suspects import crank_changes
from edgewheel.search.look import Look, Stage
from edgewheel.search.suspects import Change, Finding, Scene
from edgewheel.search.variant import (
    USUAL_RPM,
    Variant,
    cam_track,
    crank_pattern,
    sensed_wheel,
)
from edgewheel.wheel.landmarks import main_track

Try = Callable[[Variant, str], Look]
"""Plays a variant, described by the words, and says what was seen."""

MOST_TRIES = 50
DELAY, FILTER = ("spark output",), ("crank filter",)


@dataclass(frozen=True)
class Step:
    """One try: what was changed, what it showed, and what that means."""

    number: int
    what: str
    look: Look
    meaning: str


Search = Generator[Step, None, Look | None]
"""Tries, and in the end the look of the one that brought the controller further, if any."""


@dataclass(frozen=True)
class Diagnosis:
    """The end. `complete`: the controller synced rightly at last, or what is wrong was measured.

    `findings` are what that took; none if nothing is wrong.
    """

    complete: bool
    findings: tuple[Finding, ...]
    tries: int
    look: Look


@dataclass
class _Kept:
    change: Change
    finding: Finding


def scene_of(plan: Plan, rpm: int = USUAL_RPM) -> Scene:
    """What the bench file says of the engine. Nothing in it comes from the controller."""
    wheel = sensed_wheel(plan)
    crank, cam = main_track(wheel), cam_track(wheel)
    return Scene(
        crank.name,
        cam.name if cam else None,
        crank_pattern(crank),
        bool(plan.signal.faults),
        tuple((tooth.begin, tooth.end) for tooth in cam.teeth) if cam else (),
        cam is not None and cam.shaft == "cam",
        crank.sensor.kind == "hall" and crank.sensor.direction is None,
        rpm,
    )


class Diagnose:
    """Iterate over `steps()`, then read `diagnosis`.

    Tries run at `rpm` where nothing else is asked.
    """

    def __init__(self, plan: Plan, play: Try, rpm: int = USUAL_RPM) -> None:
        self._scene = scene_of(plan, rpm)
        self._plan = plan
        self._play = play
        self._kept: list[_Kept] = []
        self._tried: dict[Variant, Look] = {}
        self._variant = Variant(rpm=rpm)
        self._timed = Timed.UNKNOWN
        self.diagnosis: Diagnosis | None = None

    @property
    def tries(self) -> int:
        """Tries so far."""
        return len(self._tried)

    def steps(self) -> Iterator[Step]:
        """Each try as it is done. Raises what the player raises."""
        look = self._try(self._variant, "the signal as the bench file says")
        yield self._step("the signal as the bench file says", look, _told(look))
        explained = False
        while look.stage is not Stage.RIGHT and self.tries < MOST_TRIES:
            order = self._measured(look)
            if order is not None:
                self._kept.append(_Kept(Change("", lambda variant: variant, order), order))
                explained = True
                break
            yield from self._time_of_teeth(look)
            better = yield from self._single(look)
            if better is None:
                better = yield from self._pairs(look)
            if better is None:
                break
            look = better
        if look.stage is Stage.RIGHT:
            yield from self._leave_out()
        findings = tuple(dict.fromkeys(kept.finding for kept in self._kept))
        complete = explained or look.stage is Stage.RIGHT
        self.diagnosis = Diagnosis(complete, findings, self.tries, look)

    def _single(self, look: Look) -> Search:
        """Try one change after the other; returns the look of the first that helped."""
        for change in self._changes(look):
            found = yield from self._one(change, look)
            if found is not None:
                return found
            if self.tries >= MOST_TRIES:
                break
        return None

    def _time_of_teeth(self, look: Look) -> Iterator[Step]:
        """See once by which edge the controller times, where its sparks are all equally wrong."""
        if look.stage is not Stage.TURNS or self._timed is not Timed.UNKNOWN:
            return
        narrow = narrowed(self._scene, look, self._variant)
        if narrow is None:
            return
        what = "the crank's teeth narrower, from the same beginning"
        seen = self._try(narrow, what)
        self._timed = told_by_narrowed(self._scene, look, seen, narrow)
        yield self._step(what, seen, f"it times by {self._timed}")

    def _one(self, change: Change, look: Look) -> Search:
        before, after = self._variant, change.apply(self._variant)
        if after in self._tried:
            return None
        seen = self._try(after, change.what)
        if not seen.better_than(look):
            yield self._step(change.what, seen, _told(seen))
            return None
        self._variant = after
        finding = change.finding
        if change.doubt is None:
            yield self._step(change.what, seen, _names(finding))
        else:
            yield self._step(change.what, seen, "that helps")
            doubt = change.doubt
            again = self._try(doubt.apply(before, after), doubt.what)
            finding = doubt.held if again.stage >= seen.stage else doubt.lost
            finding = self._explained(finding)
            yield self._step(doubt.what, again, _names(finding))
        self._kept.append(_Kept(change, finding))
        return seen

    def _explained(self, finding: Finding) -> Finding:
        """A noise filter that is too long delays the sparks too: then that is no second mistake."""
        if finding.settings != DELAY:
            return finding
        filters = [kept.finding for kept in self._kept if kept.finding.settings == FILTER]
        if filters:
            return filters[0]
        return TOO_LONG_FILTER if self._timed is Timed.FILTERED else finding

    def _pairs(self, look: Look) -> Search:
        """No single change helped: two at once, the likeliest pairs first."""
        if look.stage > Stage.NOTHING:
            return None
        changes = [change for change in self._changes(look) if not change.alone]
        ranked = sorted(combinations(range(len(changes)), 2), key=sum)
        for first, second in ranked:
            one, other = changes[first], changes[second]
            after = other.apply(one.apply(self._variant))
            if after in self._tried or self.tries >= MOST_TRIES:
                continue
            what = f"{one.what}, and {other.what}"
            seen = self._try(after, what)
            helped = seen.better_than(look)
            yield self._step(what, seen, "that helps" if helped else _told(seen))
            if helped:
                self._variant = after
                self._kept += [_Kept(one, one.finding), _Kept(other, other.finding)]
                return seen
        return None

    def _changes(self, look: Look) -> list[Change]:
        if look.stage is Stage.TURNS:
            return list(angle_changes(self._scene, look, self._variant, self._timed))
        if look.stage is Stage.PARTLY:
            return cam_changes(self._scene, look.reason)
        return crank_changes(self._scene, look)

    def _measured(self, look: Look) -> Finding | None:
        """What the sparks tell by themselves, without a further try."""
        if look.stage is not Stage.TURNS:
            return None
        if look.both_turns:
            return Finding(
                ("way of telling the turns apart",),
                "Let the controller use the cam: each coil fires in both turns of the cycle.",
            )
        tdc = {cylinder: float(deg) for cylinder, deg in self._plan.wheel.tdc}
        lines = self._plan.signals.sparks
        served = {
            name: line.cylinders[0] for name, line in lines.items() if len(line.cylinders) == 1
        }
        if look.errors_deg.keys() != served.keys() or not served:
            return None
        if look.common_deg is not None:
            return None
        return firing_order(tdc, look.errors_deg, served)

    def _leave_out(self) -> Iterator[Step]:
        """Drop each kept change without which the controller is as right."""
        for kept in self._kept[:-1]:
            rest = [other for other in self._kept if other is not kept]
            variant = Variant(rpm=self._scene.rpm)
            for other in rest:
                variant = other.change.apply(variant)
            what = f"all that, but not {kept.change.what}"
            seen = self._try(variant, what)
            needed = seen.stage is not Stage.RIGHT
            yield self._step(what, seen, "so that is needed" if needed else "so that is not needed")
            if not needed:
                self._kept = rest

    def _try(self, variant: Variant, what: str) -> Look:
        if variant not in self._tried:
            self._tried[variant] = self._play(variant, what)
        return self._tried[variant]

    def _step(self, what: str, look: Look, meaning: str) -> Step:
        return Step(self.tries, what, look, meaning)


def _names(finding: Finding) -> str:
    return f"that helps: {' or '.join(finding.settings)} is wrong"


def _told(look: Look) -> str:
    """What the controller made of it, in a few words."""
    if look.stage is Stage.RIGHT:
        return "in sync, speed and sparks are right"
    if look.stage is Stage.TURNS:
        if look.both_turns:
            return "in sync, but coils fire in both turns"
        worst = max(look.errors_deg.values(), key=abs, default=0.0)
        way = "late" if worst > 0 else "early"
        return f"in sync, but sparks up to {abs(worst):.1f} degrees {way}"
    if look.stage is Stage.CLAIMS:
        return f"it claims sync at {look.speed_ratio or 0:.2f} times the speed"
    return "it knows the crank, not the phase" if look.stage is Stage.PARTLY else "no sync"
