"""What was heard of late, bounded: half a minute of speed, the last lines, the last pulses."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from edgewheel.bench.events import Cut, Pulsed, PulsesLost, RawBytes, Reported, SyncGained, SyncLost
from edgewheel.bench.live.state import (
    CourseRefused,
    CourseTaken,
    LiveEvent,
    LivePhase,
    LiveState,
    PhaseChanged,
)
from edgewheel.console.rawlog import RawLog

if TYPE_CHECKING:
    from edgewheel.bench.plan import Plan

TICKS_PER_S = 10
"""How often the bench is looked at, a second."""

SPEED_S = 30
LATELY_S = 2.0
"""So much of the past of the captured pulses counts as now."""

MOST_EDGES = 4000
"""Of one output; at 6,000 rpm a coil makes 100 a second."""

MOST_NOTES = 200


@dataclass(frozen=True, eq=False)
class Speeds:
    """True and reported speed at one look at the bench; another look is never the same."""

    pin_rpm: float
    reported_rpm: float | None


class Watch:
    """Listens to a live bench for those who draw. Nothing in it grows without end."""

    def __init__(self, plan: Plan) -> None:
        from edgewheel.controller.listening import Records

        self.speeds: deque[Speeds] = deque(maxlen=SPEED_S * TICKS_PER_S)
        self.log = RawLog(isinstance(plan.controller.listening, Records))
        self.notes: deque[str] = deque(maxlen=MOST_NOTES)
        """What happened, a sentence each, the last at the end."""
        self.note_count = 0
        self.lines: dict[str, deque[tuple[float, int]]] = {}
        """(seconds, level) of the last edges of each output."""
        self.advance: deque[tuple[float, float]] = deque(maxlen=MOST_EDGES)
        """(seconds, degrees before TDC) as the controller reported it."""
        self.heard = 0
        self._advance_field = plan.signals.advance

    def hear(self, events: Iterable[LiveEvent]) -> None:
        """Take what happened since the last time."""
        for event in events:
            self.heard += 1
            if isinstance(event, Pulsed):
                self._edges(event.line).append((event.seconds, event.level))
            elif isinstance(event, RawBytes):
                self.log.feed(event.data)
            elif isinstance(event, Reported):
                advance = event.fields.get(self._advance_field)
                if isinstance(advance, float):
                    self.advance.append((event.seconds, advance))
            elif (words := told(event)) is not None:
                self.note(words)

    def note(self, words: str) -> None:
        """Keep a line of what happened."""
        self.notes.append(words)
        self.note_count += 1

    def sample(self, state: LiveState) -> None:
        """Note both speeds while the engine turns."""
        if state.phase is LivePhase.TURNING:
            self.speeds.append(Speeds(state.pin_rpm, state.reported_rpm))

    def restart(self) -> None:
        """A new run begins its time at 0: forget what has times."""
        self.lines.clear()
        self.advance.clear()

    def _edges(self, line: str) -> deque[tuple[float, int]]:
        edges = self.lines.get(line)
        if edges is None:
            edges = self.lines[line] = deque(maxlen=MOST_EDGES)
        return edges


def told(event: LiveEvent) -> str | None:
    """An event worth a line of its own, as a sentence."""
    if isinstance(event, SyncGained):
        return f"{event.seconds:9.3f} s  {event.rpm:6.0f} rpm  sync"
    if isinstance(event, SyncLost):
        says = f" (it says: {event.reason})" if event.reason else ""
        return f"{event.seconds:9.3f} s  {event.rpm:6.0f} rpm  SYNC LOST: {event.detail}{says}"
    if isinstance(event, Cut):
        what = "sparks are back" if event.sparks else "sparks are cut, sync and speed are right"
        return f"{event.seconds:9.3f} s  {event.rpm:6.0f} rpm  {what}"
    if isinstance(event, PulsesLost):
        return f"{event.seconds:9.3f} s  {event.count} edges of the outputs never came here"
    if isinstance(event, CourseTaken):
        after = f"on the pins after {event.after_ms:.0f} ms"
        return f"{event.seconds:9.3f} s  {event.rpm:6.0f} rpm is the course, {after}"
    if isinstance(event, CourseRefused):
        return f"refused: {event.why}"
    if isinstance(event, PhaseChanged):
        return f"{event.phase}{': ' + event.why if event.why else ''}"
    return None
