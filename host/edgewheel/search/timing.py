"""The controller's timing from recorded runs: what it does, and which setting is off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import isnan
from pathlib import Path
from typing import Protocol

import numpy as np

from edgewheel.bench.plan import Plan
from edgewheel.bench.timing.edge import EdgeShift
from edgewheel.bench.timing.measure import Commanded, Measured, measure
from edgewheel.bench.timing.remarks import remarks
from edgewheel.bench.timing.rows import Row, Span, live_spans, rows_of
from edgewheel.bench.timing.separate import LEAST_WIDTH_DEG, Sample, Separation, separate
from edgewheel.bench.timing.silence import silences
from edgewheel.bench.timing.wiring import Misfit, misfits
from edgewheel.controller.lines import Fields, value
from edgewheel.errors import BenchError, UsageError
from edgewheel.search.recorded import Edges, Finding
from edgewheel.wheel.model import TURN

CAPTURE_TICKS = 1
"""A capture is right to a tick."""

NO_EDGES: Edges = np.empty(0), np.empty(0, np.int64)
"""Of a line that did nothing."""

REPORTED = "as the controller reports it"


class TimedRun(Protocol):
    """A run that can be asked what was heard in it; see `edgewheel.search.recorded`."""

    folder: Path
    tick_hz: int

    @property
    def plan(self) -> Plan:
        """What was played."""

    def pulses(self) -> dict[str, Edges]:
        """The captured edges of each line."""

    def reports(self) -> Iterator[tuple[float, Fields]]:
        """(seconds, fields) of each report."""

    def findings(self) -> list[Finding]:
        """What the judge found."""


@dataclass(frozen=True)
class RunTiming:
    """What one run shows: its rows and remarks, and the samples that the causes are told from."""

    name: str
    number: int
    rows: tuple[Row, ...]
    remarks: tuple[str, ...]
    misfits: tuple[Misfit, ...]
    firing_order: tuple[int, ...]
    advance_source: str
    edges: EdgeShift
    ignition: tuple[Sample, ...]
    injection: tuple[Sample, ...]
    resolution_us: float

    @property
    def advance_reported(self) -> bool:
        """Whether the controller itself says what it commands."""
        return self.advance_source == REPORTED


@dataclass(frozen=True)
class Timing:
    """All runs together; `injection` is None if no run knows where injection should end."""

    runs: tuple[RunTiming, ...]
    ignition: Separation
    injection: Separation | None

    @property
    def rows(self) -> tuple[Row, ...]:
        return tuple(row for run in self.runs for row in run.rows)


def timing_of(runs: Sequence[TimedRun]) -> Timing:
    """Measure the outputs of the runs against their true crank angle.

    UsageError if no output was captured or declared, BenchError if captured edges are missing:
    then a missed pulse could be the bench's.
    """
    timed = tuple(_run_timing(number, run) for number, run in enumerate(runs, 1))
    if not any(run.rows for run in timed):
        raise UsageError(
            "No event of an output stands in these runs while the controller had sync. Wire its "
            "outputs to the board's inputs and say what they are: "
            "'signals: {outputs: {in1: {ignition: 1}}}'."
        )
    resolution_us = max(run.resolution_us for run in timed)
    injection = [sample for run in timed for sample in run.injection]
    return Timing(
        timed,
        separate([sample for run in timed for sample in run.ignition], resolution_us),
        separate(injection, resolution_us) if injection else None,
    )


def _run_timing(number: int, run: TimedRun) -> RunTiming:
    findings = _whole(run)
    plan, edges = run.plan, EdgeShift(run.plan.wheel, run.plan.signals.crank_edge)
    commanded, claims = _said(run)
    captured, motion = run.pulses(), plan.signal.motion
    end_s = float(plan.signal.motion.end_s)
    live = live_spans(claims, _cuts([(f.seconds, f.kind) for f in findings], end_s), end_s)
    measured = [
        measure(name, line, captured.get(name, NO_EDGES), motion, plan.wheel, commanded)
        for name, line in plan.signals.outputs.items()
    ]
    period, every_turn = edges.period_deg, plan.wheel.signal_period <= TURN
    rows = [row for one in measured for row in rows_of(number, one, motion, live, period)]
    widths = {edges.at(row.wheel_deg) for row in rows}
    wrong = misfits(
        _medians(measured),
        {n: float(deg) for n, deg in plan.wheel.tdc},
        plan.wheel.signal_period,
        alike=max(widths, default=0.0) - min(widths, default=0.0) < LEAST_WIDTH_DEG,
    )
    both = {one.name for one in measured if one.both_turns}
    usable = [row for row in rows if row.line not in {misfit.line for misfit in wrong}]
    return RunTiming(
        plan.name,
        number,
        tuple(rows),
        (
            *silences(measured, live, motion),
            *remarks(measured, live, [(f.seconds, f.kind) for f in findings]),
        ),
        wrong,
        tuple(number for number, _ in sorted(plan.wheel.tdc, key=lambda one: one[1])),
        commanded.source,
        edges,
        _samples(usable, "ignition", edges, both, every_turn),
        _samples(usable, "injection", edges, both, every_turn),
        CAPTURE_TICKS * 1e6 / run.tick_hz,
    )


def _whole(run: TimedRun) -> list[Finding]:
    """The findings of a run whose capture is whole. Raises BenchError."""
    findings = run.findings()
    missing = [finding for finding in findings if finding.kind == "pulses_missing"]
    if missing:
        raise BenchError(
            f"In {run.folder} captured edges are missing ({missing[0].detail}), so a missed pulse "
            "may be the bench's. Play the run again with fewer captured lines."
        )
    return findings


def _said(run: TimedRun) -> tuple[Commanded, list[tuple[float, bool]]]:
    """The advance commanded, and when sync was claimed, from the run's reports."""
    signals = run.plan.signals
    words = tuple(value(word) for word in signals.synced)
    moments, degrees, claims = [], [], []
    for seconds, fields in run.reports():
        advance = fields.get(signals.advance)
        if isinstance(advance, float):
            moments.append(seconds)
            degrees.append(advance)
        if signals.sync in fields:
            claims.append((seconds, fields[signals.sync] in words))
    if moments:
        source = REPORTED
    elif signals.advance_deg is not None:
        source = f"{signals.advance_deg:g} degrees, as the bench file says"
    else:
        source = "not known"
    commanded = Commanded(np.array(moments), np.array(degrees), signals.advance_deg, source)
    return commanded, claims


def _cuts(findings: Sequence[tuple[float, str]], end_s: float) -> list[Span]:
    cuts: list[Span] = []
    begin: float | None = None
    for seconds, kind in findings:
        if kind == "cut":
            begin = seconds
        elif begin is not None and kind in ("sparks", "lost"):
            cuts.append((begin, seconds))
            begin = None
    return [*cuts, (begin, end_s)] if begin is not None else cuts


def _medians(measured: Sequence[Measured]) -> dict[str, tuple[int, float]]:
    """(cylinder, median error) of each coil with one cylinder whose error is known."""
    found = {}
    for one in measured:
        known = one.error_deg[~np.isnan(one.error_deg)]
        if (
            len(one.line.cylinders) == 1
            and not one.both_turns
            and one.line.kind == "ignition"
            and len(known)
        ):
            found[one.name] = one.line.cylinders[0], float(np.median(known))
    return found


def _samples(
    rows: Sequence[Row], kind: str, edges: EdgeShift, both_turns: set[str], every_turn: bool
) -> tuple[Sample, ...]:
    """The steady rows of one kind whose error is known."""
    return tuple(
        Sample(
            row.line,
            row.rpm,
            row.error_deg,
            row.scatter_deg / max(row.count, 1) ** 0.5,
            edges.at(row.wheel_deg),
            len(row.cylinders) == 1 and not every_turn and row.line not in both_turns,
            row.line in both_turns,
            every_turn,
        )
        for row in rows
        if row.steady and row.kind == kind and not isnan(row.error_deg) and row.rpm > 0
    )
