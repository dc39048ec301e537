"""The verdict over a run: what happened, in the words of a report."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Any

from edgewheel.bench.events import Cut, Event, Finished, Reported, SyncGained, SyncLost
from edgewheel.bench.signals import Limits, Signals


class Outcome(StrEnum):
    """How a run ended."""

    PASSED = "passed"
    FAILED = "failed"
    """The controller broke a limit."""
    ERROR = "error"
    """The bench failed; nothing is said about the controller."""
    ABORTED = "aborted"


@dataclass(frozen=True)
class Verdict:
    """What a run showed. `first_sync_s` is None if sync never came."""

    outcome: Outcome
    detail: str
    first_sync_s: float | None
    losses: tuple[SyncLost, ...]
    verified: bool

    def as_data(self) -> dict[str, Any]:
        """For JSON."""
        data = asdict(self)
        data["losses"] = [asdict(loss) for loss in self.losses]
        return data


class VerdictListener:
    """Collects what the verdict needs while a run goes on."""

    def __init__(self, limits: Limits, signals: Signals, *, open_end: bool = False) -> None:
        """`open_end`: only a stop by hand ends the run, so it is judged like any other."""
        self._limits = limits
        self._signals = signals
        self._fields: set[str] = set()
        self._open_end = open_end
        self._first_sync_s: float | None = None
        self._losses: list[SyncLost] = []
        self._cuts: list[Cut] = []
        self._finished: Finished | None = None

    def hear(self, event: Event) -> None:
        """Take an event of the run."""
        if isinstance(event, Reported):
            self._fields.update(event.fields)
        elif isinstance(event, SyncGained) and self._first_sync_s is None:
            self._first_sync_s = event.seconds
        elif isinstance(event, SyncLost):
            self._losses.append(event)
        elif isinstance(event, Cut) and not event.sparks:
            self._cuts.append(event)
        elif isinstance(event, Finished):
            self._finished = event

    def verdict(self) -> Verdict:
        """The verdict, once the run is over."""
        finished = self._finished
        if finished is None:
            return self._made(Outcome.ERROR, "the run was cut off", False)
        if finished.aborted and self._open_end:
            return self._made(*self._judged(), False)
        if finished.aborted:
            return self._made(Outcome.ABORTED, "stopped by hand", finished.verified)
        if not finished.verified:
            return self._made(Outcome.ERROR, finished.detail, False)
        outcome, detail = self._judged()
        return self._made(outcome, detail, True)

    def _judged(self) -> tuple[Outcome, str]:
        if self._first_sync_s is None:
            false = f": it claims it, but {self._losses[0].detail}" if self._losses else ""
            return Outcome.FAILED, f"the controller never found sync{false or self._unheard()}"
        if self._first_sync_s > self._limits.sync_by_s:
            late = f"sync came after {self._first_sync_s - self._limits.from_s:.2f} s"
            return Outcome.FAILED, f"{late}, the limit is {self._limits.sync_within_s:g} s"
        if self._losses:
            first = self._losses[0]
            times = len(self._losses) - 1
            again = "once" if times == 1 else f"{times} times"
            more = f", and {again} again" if times else ""
            return (
                Outcome.FAILED,
                f"sync was lost at {first.seconds:.3f} s and {first.rpm:.0f} rpm: "
                f"{first.detail}{more}",
            )
        early = [cut for cut in self._cuts if not self._may_cut(cut.rpm)]
        if early:
            limit = self._limits.rev_limit_rpm
            why = (
                "and 'limits:' declares no rev limit"
                if limit is None
                else f"below the rev limit of {limit:g} rpm"
            )
            return Outcome.FAILED, f"sparks vanished at {early[0].rpm:.0f} rpm, {why}"
        unseen = self._finished is not None and self._finished.sparks == 0
        more = "; no spark came that could be held against the crank angle" if unseen else ""
        return Outcome.PASSED, f"sync after {self._first_sync_s:.3f} s, never lost{more}"

    def _unheard(self) -> str:
        """Why nobody could have heard of sync, if that is so."""
        if not self._fields:
            return ": no report came that could be read"
        signals = self._signals
        key, name = ("sync", signals.sync) if signals.sync else ("speed", signals.speed)
        if name in self._fields:
            return ""
        told = ", ".join(sorted(self._fields))
        return f": 'signals.{key}' names '{name}', and its reports have {told}"

    def _may_cut(self, rpm: float) -> bool:
        limit = self._limits.rev_limit_rpm
        return limit is not None and rpm >= limit * (1 - self._limits.speed_error_percent / 100)

    def _made(self, outcome: Outcome, detail: str, verified: bool) -> Verdict:
        return Verdict(outcome, detail, self._first_sync_s, tuple(self._losses), verified)
