"""Diagnose: vary the signal until the controller syncs rightly; what did it names the setting.

Changes are tried one at a time, likeliest first. One that brings the controller further is kept,
so that two wrong settings are found one after the other. In the end every kept change but the last
is left out once, so that none is named that is not needed.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from edgewheel.bench.plan import Plan
from edgewheel.search.angles import (
    FASTER,
    TOO_LONG_FILTER,
    Timed,
    angle_changes,
    angle_or_time,
    faster,
    narrowed,
    told_by_narrowed,
)
from edgewheel.search.cam_suspects import cam_changes
from edgewheel.search.coils import BOTH_TURNS, coils_of, silent_coils, single_angles
from edgewheel.search.crank_suspects import counts, crank_changes
from edgewheel.search.look import ANGLE_ERROR_DEG, Look, Stage
from edgewheel.search.other_kinds import KIND
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
LEAST_RPM, MOST_RPM = 60, 20_000
OTHER_SPEED = 1.5
"""A speed that differs by less shows nothing else."""

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

    `findings` are what that took; none if nothing is wrong. `speeds` are the rpm at which the
    bench file's own signal was tried.
    """

    complete: bool
    findings: tuple[Finding, ...]
    tries: int
    look: Look
    speeds: tuple[int, ...]


@dataclass
class _Kept:
    """A change that helped; `at` is how far the controller was before it."""

    change: Change
    findings: tuple[Finding, ...]
    at: Stage


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
        crank.sensor.amplitude is not None,
        rpm,
    )


def held_speeds(plan: Plan) -> list[int]:
    """The slowest and the fastest speed that the bench file holds, in rpm, without those at which
    the controller is to cut.
    """
    motion, limit = plan.signal.motion, plan.limits.rev_limit_rpm
    most = MOST_RPM if limit is None else min(limit - 1, MOST_RPM)
    segments = [motion[number].segment for number in range(len(motion))]
    held = {round(abs(one.rpm_begin)) for one in segments if one.rpm_begin == one.rpm_end}
    held = {rpm for rpm in held if LEAST_RPM <= rpm <= most}
    return sorted({min(held), max(held)}) if held else []


class Diagnose:
    """Iterate over `steps()`, then read `diagnosis`.

    Tries run at `rpm` where nothing else is asked.
    """

    def __init__(self, plan: Plan, play: Try, rpm: int = USUAL_RPM) -> None:
        self._scene = scene_of(plan, rpm)
        self._coils = coils_of(plan)
        self._plan = plan
        self._play = play
        self._kept: list[_Kept] = []
        self._tried: dict[Variant, Look] = {}
        self._variant = Variant(rpm=rpm)
        self._timed = Timed.UNKNOWN
        self._speeds: list[int] = []
        self._counts: tuple[Finding, ...] = ()
        self.diagnosis: Diagnosis | None = None

    @property
    def tries(self) -> int:
        """Tries so far."""
        return len(self._tried)

    def steps(self) -> Iterator[Step]:
        """Each try as it is done. Raises what the player raises."""
        look = yield from self._as_it_is()
        explained: tuple[Finding, ...] = ()
        while look.stage is not Stage.RIGHT and self.tries < MOST_TRIES:
            explained = yield from self._told_by_sparks(look)
            if explained:
                break
            yield from self._time_of_teeth(look)
            better = yield from self._single(look)
            if better is None and not self._counts:
                better = yield from self._pairs(look)
            if better is None:
                explained = self._counts or _unlike(look)
                break
            look = better
            if self._kept[-1].change.finding.settings == KIND:
                explained = self._kept.pop().findings
                self._kept = [kept for kept in self._kept if kept.at < Stage.TURNS]
                break
        if look.stage is Stage.RIGHT:
            yield from self._leave_out()
        kept = [finding for kept in self._kept for finding in kept.findings]
        findings = tuple(dict.fromkeys([*kept, *explained]))
        complete = bool(explained) or look.stage is Stage.RIGHT
        self.diagnosis = Diagnosis(complete, findings, self.tries, look, tuple(self._speeds))

    def _as_it_is(self) -> Generator[Step, None, Look]:
        """The signal as the bench file says, at our speed and then at its own, until one fails."""
        own = [rpm for rpm in held_speeds(self._plan) if _apart(rpm, self._scene.rpm)]
        for rpm in [self._scene.rpm, *own]:
            self._scene = replace(self._scene, rpm=rpm)
            self._variant = Variant(rpm=rpm)
            self._speeds.append(rpm)
            what = "the signal as the bench file says"
            what += f", at {rpm} rpm" if len(self._speeds) > 1 else ""
            look = self._try(self._variant, what)
            told = _told(look)
            if self._is_small_delay(look):
                told += ", by a delay as controllers have ('edgewheel timing' measures it)"
                look = replace(look, stage=Stage.RIGHT)
            yield self._step(what, look, told)
            if look.stage is not Stage.RIGHT:
                break
        return look

    def _is_small_delay(self, look: Look) -> bool:
        """Whether all sparks are late by a time for which they counted as right at first."""
        if look.stage is not Stage.TURNS or look.both_turns or look.silent:
            return False
        first, rpm, late_deg = self._speeds[0], self._speeds[-1], look.common_deg
        return late_deg is not None and 0 < late_deg <= ANGLE_ERROR_DEG * rpm / first

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
        chance = change.alike and self._by_chance(seen)
        if chance and seen.better_than(look) and not self._counts:
            self._counts = (counts(self._scene.pattern, after),)
        if chance or not seen.better_than(look):
            yield self._step(change.what, seen, _told(seen))
            return None
        self._variant = after
        findings: tuple[Finding, ...] = (change.finding,)
        if change.doubt is None:
            yield self._step(change.what, seen, _names(findings))
        else:
            yield self._step(change.what, seen, "that helps")
            doubt = change.doubt
            again = self._try(doubt.apply(before, after), doubt.what)
            told = doubt.told(seen, again)
            findings = tuple(self._explained(finding) for finding in told)
            yield self._step(doubt.what, again, _names(findings))
        self._kept.append(_Kept(change, findings, look.stage))
        return seen

    def _by_chance(self, look: Look) -> bool:
        """Whether what is left wrong is another thing at each coil."""
        return bool(_unlike(look)) and self._offset(look)[0] is None

    def _explained(self, finding: Finding) -> Finding:
        """A noise filter that is too long delays the sparks too: then that is no second mistake."""
        if finding.settings != DELAY:
            return finding
        for kept in self._kept:
            for earlier in kept.findings:
                if earlier.settings == FILTER:
                    return earlier
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
                self._kept += [
                    _Kept(change, (change.finding,), look.stage) for change in (one, other)
                ]
                return seen
        return None

    def _changes(self, look: Look) -> list[Change]:
        if look.stage is Stage.TURNS:
            return list(angle_changes(self._scene, look, self._variant, self._timed))
        if look.stage is Stage.PARTLY:
            return cam_changes(self._scene, look.reason)
        return crank_changes(self._scene, look)

    def _told_by_sparks(self, look: Look) -> Generator[Step, None, tuple[Finding, ...]]:
        """What the sparks tell by themselves; one more try where an angle may be a time."""
        if look.stage is not Stage.TURNS:
            return ()
        if look.both_turns:
            return (BOTH_TURNS,)
        silent = silent_coils(look)
        offset, order = self._offset(look)
        if order is None and silent is None:
            return ()
        found = [finding for finding in (silent, order) if finding is not None]
        if offset is not None and abs(offset) > ANGLE_ERROR_DEG:
            what = f"the same at {FASTER * self._variant.rpm} rpm"
            seen = self._try(faster(self._variant), what)
            more, _ = self._offset(seen) if seen.stage >= Stage.TURNS else (None, None)
            growth = None if more is None else more - offset
            findings = angle_or_time(offset, growth, self._variant.rpm)
            yield self._step(what, seen, _names(findings))
            found += findings
        return tuple(found)

    def _offset(self, look: Look) -> tuple[float | None, Finding | None]:
        """By how much all sparks are late if the order of the coils is left aside; and that."""
        if look.common_deg is not None:
            return look.common_deg, None
        offset = self._coils.offset_of(look.errors_deg)
        if offset is None:
            return None, None
        return offset, self._coils.firing_order(look.errors_deg, offset)

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


def _apart(rpm: int, other: int) -> bool:
    return max(rpm, other) >= OTHER_SPEED * min(rpm, other)


def _unlike(look: Look) -> tuple[Finding, ...]:
    """Coils that are wrong by amounts of their own."""
    if look.stage is not Stage.TURNS or look.common_deg is not None:
        return ()
    return (single_angles(look.errors_deg),)


def _names(findings: Sequence[Finding]) -> str:
    names = " and ".join(" or ".join(finding.settings) for finding in findings)
    return f"that helps: {names} {'is' if len(findings) == 1 else 'are'} wrong"


def _told(look: Look) -> str:
    """What the controller made of it, in a few words."""
    if look.stage is Stage.RIGHT:
        return look.right_words
    if look.stage is Stage.TURNS:
        if look.both_turns:
            return "in sync, but coils fire in both turns"
        if look.silent:
            return f"in sync, but no spark on {', '.join(look.silent)}"
        worst = max(look.errors_deg.values(), key=abs, default=0.0)
        way = "late" if worst > 0 else "early"
        return f"in sync, but sparks up to {abs(worst):.1f} degrees {way}"
    if look.stage is Stage.CLAIMS:
        return f"it claims sync at {look.speed_ratio or 0:.2f} times the speed"
    return "it knows the crank, not the phase" if look.stage is Stage.PARTLY else "no sync"
