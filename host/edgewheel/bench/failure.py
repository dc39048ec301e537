"""How a controller fails, in so few words that two failures can be said to be alike."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from edgewheel.bench.events import Cause, Cut, Event, Finished, Progress, SyncGained, SyncLost
from edgewheel.bench.signals import Limits
from edgewheel.errors import BenchError


class Failure(StrEnum):
    """A way to fail. Whether a loss is said or only counted hangs on when a report falls due."""

    NEVER = "it never finds sync"
    LATE = "it finds sync too late"
    LOST = "it says that it lost sync"
    SPEED = "its speed is wrong"
    SILENCE = "it falls silent"
    POSITION = "its sparks stand at the wrong angle"
    CUT = "its sparks vanish below the rev limit"
    OTHER = "it breaks another limit"


_OF_CAUSE = {
    Cause.SAID: Failure.LOST,
    Cause.COUNTED: Failure.LOST,
    Cause.SPEED: Failure.SPEED,
    Cause.SILENCE: Failure.SILENCE,
    Cause.POSITION: Failure.POSITION,
    Cause.ABSENT: Failure.LATE,
}


@dataclass
class FailureWatch:
    """Listens to a run until it is clear how it fails. `failure` is None while it does not.

    `certain_s` is when that is clear, which may be later than the failure itself. Raises BenchError
    if the board did not play the table.
    """

    limits: Limits
    failure: Failure | None = None
    certain_s: float | None = None
    _now_s: float = 0.0
    _synced: bool = False

    def hear(self, event: Event) -> None:
        """Take an event of the run."""
        if isinstance(event, Progress):
            self._now_s = event.seconds
        elif isinstance(event, SyncGained):
            if not self._synced and event.seconds > self.limits.sync_by_s:
                self._fail(Failure.LATE, event.seconds)
            self._synced = True
        elif isinstance(event, SyncLost):
            self._fail(_OF_CAUSE.get(event.cause, Failure.OTHER), max(event.seconds, self._now_s))
        elif isinstance(event, Cut) and not event.sparks and not self._may_cut(event.rpm):
            self._fail(Failure.CUT, event.seconds)
        elif isinstance(event, Finished):
            self._end(event)

    def _end(self, event: Finished) -> None:
        if not event.verified and not event.aborted:
            raise BenchError(f"A trial was not played as it should be: {event.detail}.")
        if not self._synced and not event.aborted:
            self._fail(Failure.NEVER, event.seconds)

    def _may_cut(self, rpm: float) -> bool:
        limit = self.limits.rev_limit_rpm
        return limit is not None and rpm >= limit * (1 - self.limits.speed_error_percent / 100)

    def _fail(self, failure: Failure, seconds: float) -> None:
        if self.failure is None:
            self.failure, self.certain_s = failure, seconds
