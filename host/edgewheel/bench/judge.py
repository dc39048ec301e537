"""What counts as lost sync: the one place that says so, used by run, sweep and everything after.

Lost is: the controller says so, its loss counter steps, its speed is wrong for too long, it falls
silent, or - the worst, since nobody is told - it claims sync while its sparks stand at the wrong
crank angle. Where the engine stood and turns again, sync must come as soon as at first. Sparks that
vanish while speed and sync stay right are a cut, not a loss. A loss is dated to the moment from
which it shows, which may be before it is certain: sparks that stand wrong are a silent fault only
if the next report still claims sync.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from edgewheel.bench.events import Cause, Cut, Pulsed, Reported, SyncGained, SyncLost
from edgewheel.bench.position import SparkCheck
from edgewheel.bench.signals import Limits, Signals
from edgewheel.bench.truth import Truth
from edgewheel.controller.lines import Value, value

Finding = SyncGained | SyncLost | Cut


@dataclass
class _Heard:
    """What the last report said."""

    seconds: float = 0.0
    synced: bool = False
    losses: float | None = None
    reason: str = ""
    advance: float | None = None
    speed_wrong_since: float | None = None
    speed_detail: str = ""


class SyncJudge:
    """Listens to reports and pulses in the order of time and says when sync came and went."""

    def __init__(self, truth: Truth, signals: Signals, limits: Limits, sparks: SparkCheck) -> None:
        self._truth = truth
        self._signals = signals
        self._limits = limits
        self._sparks = sparks
        self._synced = tuple(value(word) for word in signals.synced)
        self._heard = _Heard()
        self._misplaced_since: float | None = None
        self._false_told = False
        self._deaf_until_s = 0.0
        self._stood = False
        self._turns_since: float | None = None
        self.synced = False

    def report(self, report: Reported) -> Iterator[Finding]:
        """Judge by a report."""
        heard = self._heard
        stepped = self._take(report)
        if self._stands(report.seconds):
            return
        if stepped:
            self._forget_sparks()
        if stepped and heard.synced and self.synced:
            yield self._lost(report.seconds, Cause.COUNTED, "the loss counter stepped")
        if not heard.synced:
            self._forget_sparks()
            yield from self._fail(report.seconds, Cause.SAID, "it reports no sync")
        else:
            yield from self._claimed(report.seconds)

    def _claimed(self, seconds: float) -> Iterator[Finding]:
        """Judge a claim of sync; a false one is told once, also if true sync never was."""
        heard = self._heard
        if self._speed_wrong(seconds):
            since = heard.speed_wrong_since or seconds
            yield from self._fail(since, Cause.SPEED, heard.speed_detail, claimed=True)
        elif self._misplaced_since is not None:
            since, detail = self._misplaced_since, self._sparks.detail
            yield from self._fail(since, Cause.POSITION, detail, claimed=True)
            self._forget_sparks()
        elif not self.synced and heard.speed_wrong_since is None:
            self.synced, self._false_told = True, False
            self._stood, self._turns_since = False, None
            yield SyncGained(seconds, self._rpm(seconds))

    def pulse(self, pulse: Pulsed) -> None:
        """Note an edge of an output; whether it is a silent fault, the next report tells."""
        self._sparks.take(pulse)
        if self._sparks.misplaced and self._misplaced_since is None:
            self._misplaced_since = pulse.seconds

    def pulses_missing(self, seconds: float) -> None:
        """Some never came here: the sparks until then are unknown, and that is the bench's lack."""
        self._misplaced_since = None
        self._sparks.forget(seconds)

    def deaf(self, seconds: float) -> None:
        """The bench could not hear the controller until now, so its silence means nothing."""
        self._deaf_until_s = seconds

    def passed(self, seconds: float, pulses_s: float) -> Iterator[Finding]:
        """Judge by what has not happened until a time; pulses are known up to `pulses_s`."""
        if self._stands(seconds):
            return
        if self._turns_since is not None:
            heard_since = max(self._turns_since, self._deaf_until_s)
            yield from self._absent(heard_since + self._limits.sync_within_s, seconds)
        silent_since = max(self._heard.seconds, self._limits.from_s, self._deaf_until_s)
        if seconds - silent_since > self._limits.silence_ms / 1000:
            silence = f"no report for {self._limits.silence_ms:g} ms"
            yield from self._fail(silent_since, Cause.SILENCE, silence)
        rpm = self._rpm(seconds)
        changed = self._sparks.vanished_or_back(pulses_s, rpm) if self.synced else None
        if changed is not None:
            yield Cut(seconds, rpm, changed)

    def ended(self, seconds: float) -> Iterator[Finding]:
        """The engine does not turn any further: what it has not found by now, it never will."""
        if self._turns_since is not None:
            yield from self._absent(seconds, seconds)

    def _stands(self, seconds: float) -> bool:
        """Does it turn too slowly for anything to be asked? Sync must then be found anew."""
        stands = self._rpm(seconds) < self._limits.least_rpm
        if stands:
            self._stood |= self.synced
            self.synced, self._turns_since = False, None
        elif self._stood and self._turns_since is None:
            self._turns_since = seconds
        return stands

    def _absent(self, due_s: float, seconds: float) -> Iterator[SyncLost]:
        """Sync was to be found again by a time; told once."""
        if self._stood and seconds >= due_s:
            self._stood, self._turns_since = False, None
            detail = "the engine stood, turned again, and it did not find sync again"
            yield self._lost(due_s, Cause.ABSENT, detail)

    def _take(self, report: Reported) -> bool:
        """Note what a report says; returns whether its loss counter stepped."""
        heard, signals = self._heard, self._signals
        heard.seconds = report.seconds
        rpm = _number(report.fields.get(signals.speed))
        if signals.sync in report.fields:
            heard.synced = report.fields[signals.sync] in self._synced
        elif not signals.sync and rpm is not None:
            heard.synced = rpm > 0
        heard.reason = str(report.fields.get(signals.reason, heard.reason))
        losses = _number(report.fields.get(signals.losses))
        stepped = losses is not None and heard.losses is not None and losses > heard.losses
        heard.losses = losses if losses is not None else heard.losses
        self._take_advance(report)
        self._compare_speed(report.seconds, rpm)
        return stepped

    def _take_advance(self, report: Reported) -> None:
        """The advance in force; a report that does not mention it leaves it as it was."""
        signals = self._signals
        if signals.advance in report.fields:
            self._heard.advance = _number(report.fields[signals.advance])
        advance = self._heard.advance
        self._sparks.advance_deg = signals.advance_deg if advance is None else advance

    def _compare_speed(self, seconds: float, rpm: float | None) -> None:
        if rpm is None:
            return
        heard = self._heard
        true_rpm = self._rpm(seconds - self._limits.report_latency_ms / 1000)
        allowed = true_rpm * self._limits.speed_error_percent / 100
        if abs(rpm - true_rpm) <= allowed:
            heard.speed_wrong_since = None
        elif heard.speed_wrong_since is None:
            heard.speed_wrong_since = seconds
        heard.speed_detail = f"it reports {rpm:.0f} rpm at {true_rpm:.0f} rpm"

    def _speed_wrong(self, seconds: float) -> bool:
        since = self._heard.speed_wrong_since
        return since is not None and seconds - since >= self._limits.speed_error_ms / 1000

    def _forget_sparks(self) -> None:
        if not self._sparks.misplaced:
            self._misplaced_since = None

    def _fail(
        self, seconds: float, cause: Cause, detail: str, *, claimed: bool = False
    ) -> Iterator[SyncLost]:
        if self.synced or (claimed and not self._false_told):
            self._false_told = claimed
            self.synced = False
            yield self._lost(seconds, cause, detail)

    def _lost(self, seconds: float, cause: Cause, detail: str) -> SyncLost:
        return SyncLost(seconds, self._rpm(seconds), cause, detail, self._heard.reason)

    def _rpm(self, seconds: float) -> float:
        return abs(self._truth.rpm(seconds))


def _number(field: Value | None) -> float | None:
    return field if isinstance(field, float) else None
