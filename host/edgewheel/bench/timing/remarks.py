"""What else the pulses tell, in sentences: polarity, chopping, priming, losses, tacho."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from edgewheel.bench.timing.measure import CYCLE_DEG, Measured, fold
from edgewheel.bench.timing.pulses import polarity_is_turned
from edgewheel.bench.timing.rows import Span

MOST_LOSSES = 3
"""Told one by one."""

Findings = Sequence[tuple[float, str]]


def remarks(lines: Sequence[Measured], live: Sequence[Span], findings: Findings) -> Iterator[str]:
    """A sentence for each thing worth knowing; `live` as in `rows_of`, findings (seconds, kind)."""
    for line in lines:
        if line.line.kind == "tacho":
            yield from _tacho(line)
            continue
        yield from _polarity(line)
        yield from _grouped(line)
        if line.line.kind == "injection":
            yield from _priming(line, live)
    yield from _through_losses([one for one in lines if one.line.kind == "ignition"], findings)


def _polarity(measured: Measured) -> Iterator[str]:
    """A dwell keeps its time over speed, and so does what is not a dwell at all."""
    if measured.line.kind != "ignition" or len(measured) < 8:
        return
    events = measured.events
    idle_s = events.begin_s[1:] - events.end_s[:-1]
    rpm, active_s = np.abs(measured.crank.rpm[1:]), events.lasts_s[1:]
    turning = (rpm > 0) & (measured.crank.segment[1:] == measured.crank.segment[:-1])
    if turning.any() and polarity_is_turned(rpm[turning], active_s[turning], idle_s[turning]):
        other = "low" if measured.line.active == "high" else "high"
        yield (
            f"{measured.name}: the level declared as dwell ({measured.line.active}) changes its "
            f"time with speed and the other one does not: write 'dwell: {other}'. Sparks are timed "
            "at the wrong edge until then."
        )


def _grouped(measured: Measured) -> Iterator[str]:
    chopped = int((measured.events.chops > 0).sum())
    restruck = int((measured.events.restrikes > 0).sum())
    if chopped:
        most = int(measured.events.chops.max())
        verb = "is" if chopped == 1 else "are"
        pulses = several(chopped, "pulse")
        yield f"{measured.name}: {pulses} {verb} chopped, into up to {most + 1} parts."
    if restruck:
        most = int(measured.events.restrikes.max())
        verb = "is" if restruck == 1 else "are"
        yield (
            f"{measured.name}: {several(restruck, 'spark')} {verb} struck again, up to "
            f"{several(most, 'time')}."
        )


def _priming(measured: Measured, live: Sequence[Span]) -> Iterator[str]:
    first_s = min((begin for begin, _ in live), default=np.inf)
    early = measured.events.only(measured.events.end_s < first_s)
    if len(early):
        widths = early.lasts_s * 1000
        yield (
            f"{measured.name}: {several(len(early), 'pulse')} before there was sync, the first at "
            f"{early.begin_s[0]:.3f} s, {widths.min():.2f} to {widths.max():.2f} ms (priming)."
        )


def _through_losses(coils: Sequence[Measured], findings: Findings) -> Iterator[str]:
    """What the coils did between each loss of sync and its return; many losses in one sentence."""
    spans = _lost_spans(findings) if coils else []
    for lost_s, back_s in spans[:MOST_LOSSES]:
        back = f"until sync was back at {back_s:.3f} s" if np.isfinite(back_s) else "to the end"
        yield f"Sync lost at {lost_s:.3f} s: {_sparks_in(coils, [(lost_s, back_s)], back)}."
    if more := spans[MOST_LOSSES:]:
        times = f"Sync lost {several(len(more), 'time')} more, the last at {more[-1][0]:.3f} s"
        yield f"{times}: {_sparks_in(coils, more, 'meanwhile')}."


def _lost_spans(findings: Findings) -> list[Span]:
    """From each loss until sync was back, if ever: a false claim meanwhile is another finding."""
    spans: list[Span] = []
    lost_s: float | None = None
    for seconds, kind in findings:
        if kind == "lost" and lost_s is None:
            lost_s = seconds
        elif kind == "gained" and lost_s is not None:
            spans.append((lost_s, seconds))
            lost_s = None
    return spans if lost_s is None else [*spans, (lost_s, np.inf)]


def _sparks_in(coils: Sequence[Measured], spans: Sequence[Span], when: str) -> str:
    """How many sparks came while sync was lost and the engine turned, and the worst of them."""
    within = [
        np.any([(one.events.end_s > begin) & (one.events.end_s < end) for begin, end in spans], 0)
        & (one.crank.segment >= 0)
        for one in coils
    ]
    errors = np.concatenate([one.error_deg[here] for one, here in zip(coils, within, strict=True)])
    off = np.abs(fold(errors[~np.isnan(errors)], CYCLE_DEG))
    worst = f", the worst {off.max():.1f} degrees off" if len(off) else ""
    return f"{several(len(errors), 'spark')} {when}{worst}"


def _tacho(measured: Measured) -> Iterator[str]:
    """The speed that the tacho tells against the true one."""
    ends, segment = measured.events.end_s, measured.crank.segment
    worst, count = 0.0, 0
    for (k, begin), (_, end) in pairwise(enumerate(ends)):
        true_rpm = abs(measured.crank.rpm[k : k + 2]).mean()
        if segment[k] < 0 or segment[k] != segment[k + 1] or not true_rpm:
            continue
        told = 60 / ((end - begin) * measured.line.pulses_a_turn)
        worst, count = max(worst, abs(told / true_rpm - 1)), count + 1
    if count:
        yield f"{measured.name}: {count} periods, its speed at most {worst:.2%} off the true one."


def several(count: int, noun: str) -> str:
    """`1 pulse`, `2 pulses`."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
