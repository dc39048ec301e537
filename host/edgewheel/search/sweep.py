"""The sweep: at which speed sync drops, where it comes back, and what the controller says of it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from edgewheel.bench.events import Event, Finished, Progress, SyncGained, SyncLost
from edgewheel.bench.plan import Plan
from edgewheel.bench.runner import Runner
from edgewheel.errors import UsageError
from edgewheel.search.staircase import Point, staircase_motion

REPORT_GAP_S = 0.5
"""Reports that come seldom make a loss certain so much later."""


@dataclass(frozen=True)
class PointResult:
    """What a point of the staircase showed.

    `synced`: there was sync once the speed had settled, to the end; `lost` is the first loss there,
    or on the way to it.
    """

    point: Point
    synced: bool
    lost: SyncLost | None

    @property
    def held(self) -> bool:
        """Whether sync was never lost there, nor on the way to it."""
        return self.synced and self.lost is None


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
        """Whether sync held at every point, up and down, and on the way from each to the next."""
        return bool(self.points) and all(result.held for result in self.points)

    @property
    def sentence(self) -> str:
        """The answer in words."""
        if self.dropped_rpm is None:
            return self._held_up
        if self.highest_rpm is None:
            what = "there was no sync" if self.loss is None else "sync did not hold"
            text = f"{what} even at the lowest speed, {float(self.dropped_rpm):g} rpm"
        else:
            text = (
                f"sync held up to {float(self.highest_rpm):g} rpm and dropped on the way to "
                f"{float(self.dropped_rpm):g} rpm"
            )
        return f"{text}{_of_loss(self.loss)}.{self._down}"

    @property
    def _down(self) -> str:
        """Whether sync came back on the way down, and stayed; nothing if it was stopped before."""
        down = [result for result in self.points if result.point.way == "down"]
        back = self.back_rpm
        if back is None:
            return " It did not come back on the way down." if down else ""
        later = (one for one in down if one.point.rpm < back and not one.held)
        lost = next((f", and dropped again on the way to {_rpm(one)}" for one in later), "")
        return f" On the way down it was back at {float(back):g} rpm{lost}."

    @property
    def _held_up(self) -> str:
        """The answer where sync held at every point on the way up."""
        if self.highest_rpm is None:
            return "no point was reached."
        text = f"sync held at every speed up to {float(self.highest_rpm):g} rpm"
        missed = next((result for result in self.points if not result.held), None)
        if missed is None:
            return f"{text} and down again."
        down = f"but not on the way down to {_rpm(missed)}"
        return f"{text}, {down}{_of_loss(missed.lost)}."


def _rpm(result: PointResult) -> str:
    return f"{float(result.point.rpm):g} rpm"


def _of_loss(loss: SyncLost | None) -> str:
    """Where sync was lost and why, to be added to a sentence."""
    if loss is None:
        return ""
    said = f" (the controller says: {loss.reason})" if loss.reason else ""
    return f", at {loss.rpm:.0f} rpm: {loss.detail}{said}"


def sweep_plan(plan: Plan) -> tuple[Plan, list[Point]]:
    """The plan with the motion of its sweep. Raises UsageError if it has none."""
    if plan.sweep is None:
        raise UsageError(
            f"'{plan.name}' says nothing of a sweep. Add to the bench file: "
            "sweep: {from: 500, to: 7000, step: 250}."
        )
    lead_in_s = Fraction(plan.limits.sync_within_s).limit_denominator(1000)
    motion, points = staircase_motion(plan.sweep, lead_in_s, plan.signal.motion.cams)
    return plan.with_motion(motion), points


class SweepListener:
    """Sorts a run's findings by the points of its staircase, each by its own moment.

    A point is judged once the run is `patience_s` beyond its end, since a loss can be dated back
    by as much.
    """

    def __init__(self, points: list[Point], patience_s: float) -> None:
        self._patience_s = patience_s
        self._points = deque(points)
        self._waiting: deque[SyncGained | SyncLost] = deque()
        self._synced = False
        self.results: list[PointResult] = []

    def hear(self, event: Event) -> Iterator[PointResult]:
        """Take an event; yields each point that is over."""
        if isinstance(event, SyncGained | SyncLost):
            self._waiting.append(event)
        elif isinstance(event, Progress):
            yield from self._until(event.seconds - self._patience_s)
        elif isinstance(event, Finished):
            yield from self._until(event.seconds)

    def _until(self, seconds: float) -> Iterator[PointResult]:
        while self._points and seconds >= self._points[0].end_s:
            self.results.append(self._judge(self._points.popleft()))
            yield self.results[-1]

    def _judge(self, point: Point) -> PointResult:
        lost: list[SyncLost] = []
        while self._waiting and self._waiting[0].seconds < point.end_s:
            finding = self._waiting.popleft()
            self._synced = isinstance(finding, SyncGained)
            if isinstance(finding, SyncLost) and finding.seconds >= point.begin_s:
                lost.append(finding)
        held = self._synced and not any(loss.seconds >= point.settled_s for loss in lost)
        return PointResult(point, held, lost[0] if lost else None)


def summarise(results: list[PointResult]) -> SweepResult:
    """The answer that the points give together."""
    up = [result for result in results if result.point.way == "up"]
    down = [result for result in results if result.point.way == "down"]
    failed = next((i for i, result in enumerate(up) if not result.held), None)
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


class Sweep:
    """A sweep with its record: iterate over `items()`, then read `result`."""

    def __init__(self, plan: Plan, runs: Path) -> None:
        swept, points = sweep_plan(plan)
        self.runner = Runner(swept, runs)
        limits = plan.limits
        patience_s = max(limits.speed_error_ms, limits.silence_ms) / 1000 + REPORT_GAP_S
        self._listener = SweepListener(points, patience_s)

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
            self.runner.summary |= {"kind": "sweep", **_summary(self.result)}

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


def _summary(result: SweepResult) -> dict[str, Any]:
    def number(value: Fraction | None) -> float | None:
        return None if value is None else float(value)

    speeds = {
        "highest_rpm": number(result.highest_rpm),
        "dropped_rpm": number(result.dropped_rpm),
        "back_rpm": number(result.back_rpm),
    }
    return {"sentence": result.sentence, "sweep": speeds}
