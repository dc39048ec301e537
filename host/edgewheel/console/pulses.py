"""Angle, dwell and scatter of each output over the last turns, by bench/timing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isnan

import numpy as np

from edgewheel.bench.live.state import LivePhase, LiveState
from edgewheel.bench.plan import Plan
from edgewheel.bench.timing.measure import CYCLE_DEG, Commanded, Measured, measure
from edgewheel.console.watch import LATELY_S, Watch
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import DEG_PER_S_PER_RPM

MOST_EVENTS = 40
LEAST_CYCLES = 2
LEAST_RPM = 1.0


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


def pulse_rows(plan: Plan, watch: Watch, motion: Motion | None, state: LiveState) -> list[PulseRow]:
    """A row for each output that the bench file declares, in its order."""
    return list(_rows(plan, watch, motion, state))


def _rows(plan: Plan, watch: Watch, motion: Motion | None, state: LiveState) -> Iterator[PulseRow]:
    commanded = _commanded(plan, watch)
    begin_s = state.seconds - _lately_s(state.pin_rpm)
    turning = state.phase is LivePhase.TURNING
    for name, line in plan.signals.outputs.items():
        edges = watch.lines.get(name)
        if not edges or not turning or motion is None or not len(motion):
            yield PulseRow(name, line.kind, 0, None, None, None, None)
            continue
        late = [edge for edge in edges if edge[0] >= begin_s][-2 * MOST_EVENTS :]
        table = np.array(late, np.float64).reshape(-1, 2)
        arrays = table[:, 0], table[:, 1].astype(np.int64)
        yield _row(measure(name, line, arrays, motion, plan.wheel, commanded))


def _lately_s(rpm: float) -> float:
    """So long that a coil of a slowly cranked engine has fired in it."""
    cycle_s = CYCLE_DEG / (DEG_PER_S_PER_RPM * max(abs(rpm), LEAST_RPM))
    return max(LATELY_S, LEAST_CYCLES * cycle_s)


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
