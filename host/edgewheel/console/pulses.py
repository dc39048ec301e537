"""Angle, dwell and scatter of each output over the last turns, by bench/timing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isnan

import numpy as np

from edgewheel.bench.plan import Plan
from edgewheel.bench.timing.measure import Commanded, Measured, measure
from edgewheel.console.watch import LATELY_S, Watch
from edgewheel.motion.motion import Motion

MOST_EVENTS = 40


@dataclass(frozen=True)
class PulseRow:
    """One output of late; what is not known is None.

    `before_deg` is the median angle before the TDC it belongs to, `error_deg` that minus the angle
    commanded, `scatter_deg` the standard deviation, `lasts_ms` the median dwell or opening.
    """

    name: str
    kind: str
    count: int
    before_deg: float | None
    error_deg: float | None
    scatter_deg: float | None
    lasts_ms: float | None


def pulse_rows(plan: Plan, watch: Watch, motion: Motion | None) -> list[PulseRow]:
    """A row for each output that the bench file declares, in its order."""
    return list(_rows(plan, watch, motion))


def _rows(plan: Plan, watch: Watch, motion: Motion | None) -> Iterator[PulseRow]:
    commanded = _commanded(plan, watch)
    for name, line in plan.signals.outputs.items():
        edges = watch.lines.get(name)
        if not edges or motion is None or not len(motion):
            yield PulseRow(name, line.kind, 0, None, None, None, None)
            continue
        begin_s = edges[-1][0] - LATELY_S
        late = [edge for edge in edges if edge[0] >= begin_s][-2 * MOST_EVENTS :]
        table = np.array(late, np.float64).reshape(-1, 2)
        arrays = table[:, 0], table[:, 1].astype(np.int64)
        yield _row(measure(name, line, arrays, motion, plan.wheel, commanded))


def _row(measured: Measured) -> PulseRow:
    kind = measured.line.kind
    if not len(measured):
        return PulseRow(measured.name, kind, 0, None, None, None, None)
    return PulseRow(
        measured.name,
        kind,
        len(measured),
        _known(float(np.median(measured.before_deg))),
        _known(float(np.median(measured.error_deg))),
        _known(float(np.std(measured.before_deg))),
        _known(float(np.median(measured.events.lasts_s)) * 1000),
    )


def _commanded(plan: Plan, watch: Watch) -> Commanded:
    table = np.array(watch.advance, np.float64).reshape(-1, 2)
    return Commanded(table[:, 0], table[:, 1], plan.signals.advance_deg, "")


def _known(value: float) -> float | None:
    return None if isnan(value) else value
