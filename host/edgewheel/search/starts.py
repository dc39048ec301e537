"""Time to sync: the same start from many crank angles, from the first edge to a valid position."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from edgewheel.bench.events import Event, Finished, Pulsed, Reported, SyncGained
from edgewheel.bench.plan import Plan
from edgewheel.bench.record import run_folder
from edgewheel.bench.rig import Rig
from edgewheel.bench.runner import meta_of
from edgewheel.bench.search_record import SearchRecord, Trial
from edgewheel.bench.timing.crank import crank_at
from edgewheel.bench.truth import CYCLE_DEG
from edgewheel.controller.lines import value
from edgewheel.errors import BenchError, UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold
from edgewheel.search.trial import from_angle
from edgewheel.wheel.certainty import Wait
from edgewheel.wheel.check import check
from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.model import Track, Wheel
from edgewheel.wheel.pins import pin_edges

SAME_DEG = 1e-6
"""Angles so near to each other are one."""

CRANKING_RPM = Fraction(200)
CRANKING_S = Fraction(4)
CRANKING_DEPTH = Fraction(1, 4)
"""A starter's speed and its swing through the compressions, where a bench file says nothing."""


@dataclass(frozen=True)
class Start:
    """One start. Degrees are crank degrees turned since the first edge, teeth those of the main
    track that began in them; None if there was no sync. Where the controller's supply comes while
    the crank turns, all counts from when it has booted, in place of the crank's own start.

    Sync came after `after_deg`, the last report without it, and by `degrees`, the first sign of it:
    a report that claims it rightly, or the first edge of a coil or injector before that.
    """

    start_deg: float
    degrees: float | None
    after_deg: float
    teeth: int | None
    seconds: float | None


@dataclass(frozen=True)
class StartsResult:
    """All starts, and the least that any decoder of this wheel would need from its worst one."""

    starts: tuple[Start, ...]
    least: Wait | None
    phase: bool
    """Whether sync means the turn of the cycle too."""

    @property
    def worst(self) -> Start | None:
        """The start that took the most degrees; one without sync is the worst of all."""
        never = next((start for start in self.starts if start.degrees is None), None)
        return never or max(self.starts, key=lambda s: s.degrees or 0.0, default=None)

    def quantile(self, share: float) -> float | None:
        """Degrees within which this share of the starts had sync; None if fewer had it at all."""
        degrees = sorted(s.degrees for s in self.starts if s.degrees is not None)
        wanted = int(np.ceil(share * len(self.starts)))
        return degrees[wanted - 1] if 0 < wanted <= len(degrees) else None


class _Watch:
    """What one run says of its first sync."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._words = tuple(value(word) for word in plan.signals.synced)
        self.unsynced_s = 0.0
        self.fired_s: float | None = None
        self.gained_s: float | None = None

    def hear(self, event: Event) -> None:
        signals = self._plan.signals
        if isinstance(event, SyncGained) and self.gained_s is None:
            self.gained_s = event.seconds
        elif isinstance(event, Reported) and self.gained_s is None and signals.sync in event.fields:
            if event.fields[signals.sync] not in self._words:
                self.unsynced_s = max(event.seconds, 0.0)
        elif isinstance(event, Pulsed) and self.fired_s is None and event.seconds > 0:
            line = signals.outputs.get(event.line)
            if line and line.kind != "tacho" and event.level == line.active_level:
                self.fired_s = event.seconds

    @property
    def synced_s(self) -> float | None:
        """The first sign of the position that proved to be right."""
        if self.gained_s is None or self.fired_s is None or self.fired_s <= self.unsynced_s:
            return self.gained_s
        return min(self.gained_s, self.fired_s)


@dataclass
class Starts:
    """Plays a plan from `count` angles evenly over the cycle. Iterate over `items()`."""

    plan: Plan
    count: int
    runs: Path
    rig: Rig = field(default_factory=Rig)

    def __post_init__(self) -> None:
        if self.count < 1:
            raise UsageError("No start at all was asked for. Give --starts at least 1.")
        self.folder = run_folder(self.runs, self.plan.name)
        self.stopped = False
        self._starts: list[Start] = []
        self.summary: dict[str, Any] = {}

    def stop(self) -> None:
        """Park, and begin no other start."""
        self.stopped = True
        self.rig.abort()

    @property
    def result(self) -> StartsResult:
        """The answer of the starts that were played."""
        phase = self.plan.signals.synced == ("full",)
        waits = [
            wait
            for one in check(self.plan.wheel).certainties
            if (wait := one.phase if phase else one.position) is not None
        ]
        least = min(waits, key=lambda wait: wait.degrees, default=None)
        return StartsResult(tuple(self._starts), least, phase)

    def items(self) -> Iterator[Start]:
        """Each start when it is over, kept as a row of the record. Raises BenchError."""
        with SearchRecord(self.folder) as record:
            meta = {"kind": "starts", **meta_of(self.plan)}
            record.inputs(self.plan.inputs, meta)
            for number in range(self.count):
                start = play_start(self.rig, self.plan, Fraction(CYCLE_DEG * number, self.count))
                if self.stopped:
                    break
                self._starts.append(start)
                record.add(_row(number, start, self.plan.seed))
                yield start
            meta["board"] = self.rig.board
            stopped = {"stopped": self.stopped}
            record.finish({**meta, **summary(self.result), **stopped, **self.summary})


def play_start(rig: Rig, plan: Plan, start_deg: Fraction) -> Start:
    """Start from an angle, with the plan's motion or cranked if it has none. Raises BenchError."""
    motion = _motion(plan, start_deg)
    watch = _Watch(plan)
    for event in rig.run(plan.with_motion(motion)):
        watch.hear(event)
        if isinstance(event, Finished) and not event.verified and not event.aborted:
            raise BenchError(f"The bench failed in a start: {event.detail}")
        if watch.gained_s is not None:
            rig.abort()
    return _start(plan.wheel, motion, watch, plan.limits.from_s)


def _motion(plan: Plan, start_deg: Fraction) -> Motion:
    """The bench file's motion from an angle, or a starter that cranks against compressions."""
    motion = plan.signal.motion
    if len(motion):
        return from_angle(motion, start_deg)
    cylinders = max(len(plan.wheel.tdc), 1)
    first_tdc = plan.wheel.tdc[0][1] if plan.wheel.tdc else Fraction(0)
    ripple = CompressionRipple(CRANKING_DEPTH, Fraction(cylinders, 2), first_tdc)
    return Motion([hold(CRANKING_RPM, seconds=CRANKING_S, ripple=ripple)], start_deg, motion.cams)


def _start(wheel: Wheel, motion: Motion, watch: _Watch, from_s: float) -> Start:
    moments = np.array([from_s, watch.unsynced_s, watch.synced_s or 0.0])
    from_deg, unsynced_deg, synced_deg = (float(deg) for deg in crank_at(motion, moments).deg)
    first_deg = _first_edge(wheel, from_deg)
    begin_deg = from_deg % CYCLE_DEG
    after = max(unsynced_deg - first_deg, 0.0)
    if watch.synced_s is None:
        return Start(begin_deg, None, after, None, None)
    degrees = max(synced_deg - first_deg, 0.0)
    teeth = teeth_between(main_track(wheel), wheel.period, first_deg, first_deg + degrees)
    return Start(begin_deg, degrees, after, teeth, watch.synced_s - from_s)


def _first_edge(wheel: Wheel, begin_deg: float) -> float:
    """The first edge of any track at or after an angle."""
    edges = [edge.angle for track in wheel.tracks for edge in pin_edges(track, wheel.period)]
    return begin_deg + min((float(angle) - begin_deg) % wheel.period for angle in edges)


def teeth_between(track: Track, period: int, begin_deg: float, end_deg: float) -> int:
    """Teeth of a track whose first edge lies between two crank angles, both included."""
    edges = pin_edges(track, period)
    offsets = [(float(e.angle) - begin_deg + SAME_DEG) % period for e in edges if e.leading]
    length = end_deg - begin_deg + 2 * SAME_DEG
    return sum(int((length - offset) // period) + 1 for offset in offsets if offset <= length)


def _row(number: int, start: Start, seed: int) -> Trial:
    synced = start.degrees is not None
    detail = f"sync after {start.degrees:.1f} degrees, {start.teeth} teeth" if synced else "no sync"
    setting = f"start at {start.start_deg:g} degrees"
    return Trial(number, setting, seed, synced, detail, "", start.seconds or 0.0)


def summary(result: StartsResult) -> dict[str, Any]:
    """For JSON; what is not known is null."""
    worst, least = result.worst, result.least
    return {
        "schema": 1,
        "starts": [vars(start) for start in result.starts],
        "without_sync": sum(start.degrees is None for start in result.starts),
        "median_deg": result.quantile(0.5),
        "p90_deg": result.quantile(0.9),
        "worst": vars(worst) if worst else None,
        "least_of_the_wheel_deg": float(least.degrees) if least else None,
        "sync_means": "phase" if result.phase else "crank position",
    }
