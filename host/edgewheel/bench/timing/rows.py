"""Events summed up: one row for each line and piece of motion."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgewheel.bench.timing.measure import Measured
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import DEG_PER_S_PER_RPM

SETTLE_DEG = 1440.0
"""Two cycles after a change of speed an event may still be one planned before it."""

Span = tuple[float, float]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Row:
    """What one line did during one piece of motion.

    Medians over `count` events, `scatter_deg` the standard deviation of their angle; NaN where
    nothing is known. `steady`: at one speed and without ripple. `missed` and `doubled` are events;
    none is counted missed while sync is lost or sparks are cut.
    """

    run: int
    line: str
    kind: str
    cylinders: tuple[int, ...]
    steady: bool
    rpm_from: float
    rpm_to: float
    count: int
    wheel_deg: float
    before_deg: float
    error_deg: float
    scatter_deg: float
    lasts_ms: float
    missed: int
    doubled: int

    @property
    def rpm(self) -> float:
        """The mean speed."""
        return (self.rpm_from + self.rpm_to) / 2


def rows_of(
    run: int, measured: Measured, motion: Motion, live: Sequence[Span], period_deg: float
) -> list[Row]:
    """A row for each piece of the motion in which the line did something.

    `live` are the spans in seconds in which the controller had sync and let sparks come.
    """
    rows = []
    span = _span_of(measured.events.end_s, live)
    for number in np.unique(measured.crank.segment[measured.crank.segment >= 0]):
        placed = motion[int(number)]
        piece = placed.segment
        begin, end = float(piece.rpm_begin), float(piece.rpm_end)
        steady = begin == end and piece.ripple is None
        here = (measured.crank.segment == number) & (span >= 0)
        if steady and begin:
            settle_s = SETTLE_DEG / (DEG_PER_S_PER_RPM * abs(begin))
            here &= measured.events.end_s >= float(placed.begin_s) + settle_s
        if here.any():
            speed = (steady, begin, end)
            rows.append(_row(run, measured, np.where(here, span, -1), speed, period_deg))
    return rows


def _row(
    run: int, measured: Measured, span: Ints, speed: tuple[bool, float, float], period_deg: float
) -> Row:
    """The events whose `span` (n,) is not -1."""
    missed, doubled = _missed_and_doubled(measured, span)
    here = span >= 0
    before = measured.before_deg[here]
    return Row(
        run,
        measured.name,
        measured.line.kind,
        measured.line.cylinders,
        *speed,
        count=int(here.sum()),
        wheel_deg=float(_circular_median(measured.crank.deg[here], period_deg)),
        before_deg=float(np.median(before)),
        error_deg=float(np.median(measured.error_deg[here])),
        scatter_deg=float(np.std(before)),
        lasts_ms=float(np.median(measured.events.lasts_s[here]) * 1000),
        missed=missed,
        doubled=doubled,
    )


def _missed_and_doubled(measured: Measured, span: Ints) -> tuple[int, int]:
    """Between neighbouring events of this row, with no loss or cut between them."""
    both = (span[1:] == span[:-1]) & (span[1:] >= 0)
    steps = np.diff(measured.slot)[both]
    return int(np.maximum(steps - 1, 0).sum()), int((steps < 1).sum())


def _span_of(seconds: npt.NDArray[np.float64], spans: Sequence[Span]) -> Ints:
    """The number of the span that each moment (n,) lies in, -1 for none."""
    number = np.full(len(seconds), -1, np.int64)
    for index, (begin, end) in enumerate(spans):
        number[(seconds >= begin) & (seconds <= end)] = index
    return number


def _circular_median(deg: npt.NDArray[np.float64], period: float) -> float:
    first = deg[0]
    return float((first + np.median((deg - first + period / 2) % period - period / 2)) % period)


def live_spans(
    claims: Iterable[tuple[float, bool]], cuts: Sequence[Span], end_s: float
) -> list[Span]:
    """Where the controller claimed sync and did not cut; `claims` are (seconds, sync) of reports.

    A controller that never says whether it has sync is taken at its pulses, at all times. That the
    bench found the claimed position wrong takes nothing away: how wrong is what is asked here.
    """
    spans: list[Span] = []
    begin: float | None = None
    said = False
    for seconds, synced in claims:
        said = True
        if synced and begin is None:
            begin = seconds
        elif not synced and begin is not None:
            spans.append((begin, seconds))
            begin = None
    if begin is not None or not said:
        spans.append((begin or 0.0, end_s))
    for cut in cuts:
        spans = [part for span in spans for part in _without(span, cut)]
    return spans


def _without(span: Span, cut: Span) -> list[Span]:
    parts = [(span[0], min(span[1], cut[0])), (max(span[0], cut[1]), span[1])]
    return [(begin, end) for begin, end in parts if begin < end]
