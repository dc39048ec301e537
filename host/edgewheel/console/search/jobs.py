"""The searches that play one bench file: sweep, threshold, envelope, diagnose."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

from edgewheel.bench.events import Progress
from edgewheel.bench.plan import Plan, Staircase
from edgewheel.bench.search_record import Trial
from edgewheel.console.search.command import on_copy, range_of, speed_of
from edgewheel.console.search.job import Job, Stage
from edgewheel.console.search.pictures import HELD, LOST, along, staircase
from edgewheel.search.axis import Axis
from edgewheel.search.diagnose import MOST_TRIES
from edgewheel.search.diagnose_words import step_line, told
from edgewheel.search.diagnosing import Diagnosing
from edgewheel.search.envelope import Envelope, refuse_steps
from edgewheel.search.picture import as_text
from edgewheel.search.seek import Seek
from edgewheel.search.staircase import speeds
from edgewheel.search.sweep import PointResult, Sweep
from edgewheel.search.threshold import Wanted
from edgewheel.search.trial import RunUp
from edgewheel.search.trials import SearchStopped, Trials

SHOWN_SHARE = 0.005
"""A sweep says how far it is after each such part of it, and at each point."""

DIAGNOSE_RPM = 1000
UNBROKEN = 10_000
"""Columns: the pane breaks lines itself."""


class SweepJob(Job):
    """Up and down a staircase of speeds."""

    name = "Sweep"

    def __init__(self, plan: Plan, runs: Path) -> None:
        assert plan.sweep is not None
        self._stairs: Staircase = plan.sweep
        self._sweep = Sweep(plan, runs)
        self.folder = self._sweep.runner.folder
        self.command = on_copy("sweep", self.folder, plan)
        self._sweep.runner.summary["repeat"] = self.command
        self._stopped = False

    def stages(self) -> Iterator[Stage]:
        share, doing = 0.0, ""
        done: list[PointResult] = []
        ends = float(self._stairs.low_rpm), float(self._stairs.high_rpm)
        count = 2 * len(speeds(self._stairs)) - 1
        lines: tuple[str, ...] = ()
        for item in self._sweep.items():
            if isinstance(item, Progress):
                before, share = share, item.seconds / item.of_seconds
                if int(before / SHOWN_SHARE) == int(share / SHOWN_SHARE):
                    continue
                doing = f"{item.rpm:.0f} rpm"
            else:
                done.append(item)
                lines = (*lines, _point_line(item))
            yield Stage(share, doing, lines, staircase(done, ends, count, self.size))
        if self._stopped:
            raise SearchStopped
        answer = self._sweep.result.sentence
        yield Stage(1.0, "", lines, staircase(done, ends, count, self.size), _capital(answer))

    def stop(self) -> None:
        self._stopped = True
        self._sweep.runner.rig.abort()


class ThresholdJob(Job):
    """The value of one number at which the controller fails."""

    name = "Threshold"

    def __init__(
        self,
        plan: Plan,
        file: Path,
        axis: Axis,
        run_up: RunUp,
        runs: Path,
        resume: Path | None = None,
    ) -> None:
        self.again = partial(ThresholdJob, plan, file, axis, run_up, runs)
        self._axis, self._wanted = axis, Wanted()
        asked = {"axis": repr(axis), "wanted": repr(self._wanted)}
        self._trials = Trials(plan, file, run_up, asked, runs, resume)
        self.folder = self._trials.folder
        low, high = range_of(axis)
        words = (axis.address, "--from", low, "--to", high, *speed_of(run_up))
        self.command = on_copy("threshold", self.folder, plan, *words)
        self._trials.summary["repeat"] = self.command

    def stages(self) -> Iterator[Stage]:
        tried: list[tuple[float, Trial]] = []
        lines: list[str] = []
        with self._trials:
            seek = Seek(self._trials, self._axis, self._wanted)
            for value, trial in seek.items():
                tried.append((value, trial))
                lines.append(_trial_line(f"{value:<9.6g}", trial))
                doing = f"trial {len(tried)}"
                picture = along(self._axis, tried, self.size)
                yield Stage(seek.share_done, doing, tuple(lines), picture)
            answer = seek.limit.sentence(self._wanted.share)
        yield Stage(1.0, "", tuple(lines), along(self._axis, tried, self.size), answer)

    def stop(self) -> None:
        self._trials.stop()


class EnvelopeJob(Job):
    """Where sync holds over two numbers."""

    name = "Envelope"

    def __init__(
        self,
        plan: Plan,
        file: Path,
        axes: tuple[Axis, Axis],
        halvings: int,
        run_up: RunUp,
        runs: Path,
        resume: Path | None = None,
    ) -> None:
        self.again = partial(EnvelopeJob, plan, file, axes, halvings, run_up, runs)
        self._axes, self._halvings = axes, halvings
        coarse = min(2, halvings)
        refuse_steps(halvings, coarse)
        asked = {"x": repr(axes[0]), "y": repr(axes[1]), "steps": f"{coarse} to {halvings}"}
        self._trials = Trials(plan, file, run_up, asked, runs, resume)
        self.folder = self._trials.folder
        x, y = ((axis.address, *range_of(axis)) for axis in axes)
        words = ("--x", *x, "--y", *y, "--halvings", str(halvings), "--look", str(coarse))
        self.command = on_copy("envelope", self.folder, plan, *words, *speed_of(run_up))
        self._trials.summary["repeat"] = self.command
        self._envelope = Envelope(self._trials, *axes, halvings, coarse, self._trials.seed)

    def stages(self) -> Iterator[Stage]:
        lines: list[str] = []
        border = self._envelope.border
        with self._trials:
            for x, y, trial in self._envelope.items():
                lines.append(_trial_line(f"{x:<8.5g} {y:<8.5g}", trial))
                doing = f"trial {len(lines)}"
                yield Stage(border.share_done(), doing, tuple(lines), self._picture())
        yield Stage(1.0, "", tuple(lines), self._picture(), self._envelope.sentence())

    def stop(self) -> None:
        self._trials.stop()

    def _picture(self) -> tuple[str, ...]:
        return tuple(as_text(self._envelope.border, *self._axes, *self.size).split("\n"))


class DiagnoseJob(Job):
    """Which setting of the controller is wrong."""

    name = "Diagnose"

    def __init__(self, plan: Plan, runs: Path, resume: Path | None = None) -> None:
        self.again = partial(DiagnoseJob, plan, runs)
        self._diagnosing = Diagnosing(plan, DIAGNOSE_RPM, runs, resume)
        self.folder = self._diagnosing.folder
        self.command = on_copy("diagnose", self.folder, plan, "--speed", str(DIAGNOSE_RPM))
        self._diagnosing.summary["repeat"] = self.command

    def stages(self) -> Iterator[Stage]:
        lines: tuple[str, ...] = ()
        for step in self._diagnosing.items():
            lines = (*lines, step_line(step))
            yield Stage(len(lines) / MOST_TRIES, f"try {step.number}", lines)
        answer = told(self._diagnosing.diagnosis, UNBROKEN)
        yield Stage(1.0, "", lines, (), _capital(answer))

    def stop(self) -> None:
        self._diagnosing.stop()


def _point_line(result: PointResult) -> str:
    mark = f"{HELD} sync   " if result.held else f"{LOST} NO SYNC"
    line = f"{result.point.way:4s} {float(result.point.rpm):6.0f} rpm  {mark}"
    if result.lost is None:
        return line
    says = f" (it says: {result.lost.reason})" if result.lost.reason else ""
    return f"{line}  lost at {result.lost.rpm:.0f} rpm: {result.lost.detail}{says}"


def _trial_line(value: str, trial: Trial) -> str:
    mark = f"{HELD} sync   " if trial.passed else f"{LOST} NO SYNC"
    says = f" (it says: {trial.reason})" if trial.reason else ""
    return f"{trial.number + 1:4d}  {value} {mark}  {trial.detail}{says}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
