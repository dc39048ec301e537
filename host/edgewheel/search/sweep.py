"""The sweep: at which speed sync drops, where it comes back, and what the controller says of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.events import Event, Finished, Progress, SyncGained, SyncLost
from edgewheel.bench.plan import Plan
from edgewheel.bench.runner import Runner
from edgewheel.errors import UsageError
from edgewheel.search.staircase import Point, staircase_motion


@dataclass(frozen=True)
class PointResult:
    """What a point of the staircase showed; `lost` is the first loss there, or on the way to it."""

    point: Point
    synced: bool
    lost: SyncLost | None


@dataclass(frozen=True)
class SweepResult:
    """The answer of a sweep.

    - `highest_rpm`: the highest speed up to which every point on the way up kept sync;
    - `dropped_rpm`: the point at which sync first dropped on the way up, with `loss`;
    - `back_rpm`: the point at which sync held again on the way down.
    """

    points: tuple[PointResult, ...]
    highest_rpm: Fraction | None
    dropped_rpm: Fraction | None
    back_rpm: Fraction | None
    loss: SyncLost | None

    @property
    def passed(self) -> bool:
        """Whether sync held at every point, up and down."""
        return all(result.synced for result in self.points)


def sweep_plan(plan: Plan) -> tuple[Plan, list[Point]]:
    """The plan with the motion of its sweep. Raises UsageError if it has none."""
    if plan.sweep is None:
        raise UsageError(
            f"'{plan.name}' says nothing of a sweep. Add to the bench file: "
            "sweep: {from: 500, to: 7000, step: 250}."
        )
    ripple = plan.signal.motion[0].segment.ripple if len(plan.signal.motion) else None
    lead_in_s = Fraction(plan.limits.sync_within_s).limit_denominator(1000)
    motion, points = staircase_motion(plan.sweep, lead_in_s, ripple)
    return plan.with_motion(motion), points


class SweepListener:
    """Sorts a run's findings by the points of its staircase."""

    def __init__(self, points: list[Point]) -> None:
        self._points = points
        self._next = 0
        self._synced = False
        self._lost: SyncLost | None = None
        self._always = True
        self.results: list[PointResult] = []

    def hear(self, event: Event) -> Iterator[PointResult]:
        """Take an event; yields each point whose time is over."""
        # A pulse or report may tell of a moment before the last event; points end by progress.
        if isinstance(event, Progress | Finished):
            yield from self._pass(event.seconds)
        if self._next >= len(self._points):
            return
        point = self._points[self._next]
        if isinstance(event, SyncGained):
            self._synced = True
        elif isinstance(event, SyncLost):
            self._synced = False
            if event.seconds >= point.begin_s:
                self._lost = self._lost or event

    def _pass(self, seconds: float) -> Iterator[PointResult]:
        while self._next < len(self._points) and seconds >= self._points[self._next].end_s:
            point = self._points[self._next]
            settled_loss = self._lost and self._lost.seconds >= point.settled_s
            result = PointResult(point, self._synced and not settled_loss, self._lost)
            self.results.append(result)
            yield result
            self._next += 1
            self._lost = None


def summarise(results: list[PointResult]) -> SweepResult:
    """The answer that the points give together."""
    up = [result for result in results if result.point.way == "up"]
    down = [result for result in results if result.point.way == "down"]
    failed = next((i for i, result in enumerate(up) if not _held(result)), None)
    if failed is None:
        highest = up[-1].point.rpm if up else None
        return SweepResult(tuple(results), highest, None, None, None)
    back = next((result.point.rpm for result in down if result.synced), None)
    return SweepResult(
        tuple(results),
        up[failed - 1].point.rpm if failed else None,
        up[failed].point.rpm,
        back,
        up[failed].lost,
    )


def _held(result: PointResult) -> bool:
    return result.synced and result.lost is None


class Sweep:
    """A sweep with its record: iterate over `items()`, then read `result`."""

    def __init__(self, plan: Plan, runs: Path) -> None:
        swept, points = sweep_plan(plan)
        self.runner = Runner(swept, runs)
        self._listener = SweepListener(points)

    @property
    def result(self) -> SweepResult:
        """The answer of the points that were reached."""
        return summarise(self._listener.results)

    def items(self) -> Iterator[PointResult | Progress]:
        """Each point when it is over, and progress in between. Raises BenchError."""
        for event in self.runner.events():
            if isinstance(event, Progress):
                yield event
            for result in self._listener.hear(event):
                self._note(result)
                yield result
            self.runner.summary["sweep"] = _summary(self.result)

    def _note(self, result: PointResult) -> None:
        point, lost = result.point, result.lost
        self.runner.record.row(
            "point",
            point.number,
            point.way,
            float(point.rpm),
            int(result.synced),
            lost.cause.value if lost else "",
            lost.detail if lost else "",
            lost.reason if lost else "",
        )


def _summary(result: SweepResult) -> dict[str, float | None]:
    def number(value: Fraction | None) -> float | None:
        return None if value is None else float(value)

    return {
        "highest_rpm": number(result.highest_rpm),
        "dropped_rpm": number(result.dropped_rpm),
        "back_rpm": number(result.back_rpm),
    }
