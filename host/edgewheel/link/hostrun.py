"""The host's side of one run: what to send next, and what each STATUS means for it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from edgewheel.edges.table import PinChunk, PinHeader
from edgewheel.errors import UsageError
from edgewheel.link.blocks import StreamLimits
from edgewheel.link.course import Course, SplicePoint
from edgewheel.link.encoder import BlockEncoder
from edgewheel.link.events import (
    Event,
    LinkQuality,
    Parked,
    RunEnded,
    RunStarted,
    SpliceRefused,
    SpliceTaken,
)
from edgewheel.link.messages import (
    Arm,
    Config,
    Edges,
    End,
    Flag,
    Reason,
    Splice,
    Start,
    State,
    Status,
)
from edgewheel.link.welcome import Welcome

NewCourse = Callable[[SplicePoint], Iterator[PinChunk]]

WAVES_SINCE = 2
"""The minor version from which on a board takes all that a `WaveForm` says."""

_SPLICE_TRIES = 5
_SPLICE_SLACK_MS = 10


@dataclass(frozen=True)
class Live:
    """A run that may change course: how far ahead it is sent, and how fine its frames are."""

    ahead_ms: int = 500
    span_ms: int = 10


@dataclass(frozen=True)
class RunOrder:
    """What to play, and how.

    `source` is pulled from only as the board has room. `lag_hint` is how many transitions one
    engine cycle has, 0 if unknown; `inputs` is the mask of the input lines to capture. The run
    starts by itself as soon as `prefill_ms` of it, or all of it, or as much as there is room for,
    is on its way to the board. `waves` say what voltage the board makes of which outputs.
    """

    header: PinHeader
    source: Iterator[PinChunk]
    lag_hint: int = 0
    inputs: int = 0xFF
    park_after_ms: int = 1000
    host_timeout_ms: int = 1000
    prefill_ms: int = 500
    live: Live | None = None
    waves: tuple[Config, ...] = ()


@dataclass(frozen=True)
class _PendingSplice:
    """A SPLICE that the board has not answered yet, and the course to go back to if it refuses."""

    point: SplicePoint
    make: NewCourse
    old: Course
    tries: int


class HostRun:
    """One run, from ARM to the moment the pins are parked."""

    def __init__(self, number: int, order: RunOrder, board: Welcome) -> None:
        if order.header.tick_hz != board.tick_hz:
            raise UsageError(
                f"the table is in ticks of {order.header.tick_hz} Hz, the board's clock has "
                f"{board.tick_hz} Hz: compile for this board"
            )
        waves = board.waves if board.minor >= WAVES_SINCE else 0
        if len(order.waves) > waves:
            raise UsageError(
                f"{len(order.waves)} outputs are to be VR sensors, the board can make "
                f"{waves or 'none'}. Take 'output: vr' out of the bench file's stage, or put "
                "the firmware of this edgewheel on the board: edgewheel flash"
            )
        self.number = number
        self.order = order
        self.board = board
        self.armed = self.ended = self.parked = False
        self.start_tick = 0
        self.stopping = False
        self._epochs = 0
        self._credit = board.buffer_bytes
        self._cost = 0
        self._start_sent = self._end_sent = False
        self._splice: _PendingSplice | None = None
        self._wanted: tuple[NewCourse, int] | None = None
        limits = StreamLimits(
            board.history_depth, board.shortest_hold_ticks, board.first_tick, board.largest_frame
        )
        span = self._ms(order.live.span_ms) if order.live else None
        encoder = BlockEncoder(limits, order.lag_hint, span)
        self._course = Course(order.source, encoder, 0)

    def _ms(self, milliseconds: int) -> int:
        return milliseconds * self.board.tick_hz // 1000

    @property
    def started(self) -> bool:
        """Has the board begun to play?"""
        return self.start_tick > 0

    def arm(self) -> Arm:
        """The message that opens the run."""
        order = self.order
        return Arm(
            run=self.number,
            epoch=0,
            initial=order.header.initial_mask,
            idle=order.header.idle_mask,
            inputs=order.inputs,
            park_after_ms=order.park_after_ms,
            host_timeout_ms=order.host_timeout_ms,
        )

    # What to send

    def next_message(self, run_tick: int, splice_ms: int) -> tuple[int, bytes] | None:
        """Type and payload of the ordered frame to send next, None if none is due.

        `run_tick` is where the pins are now, as well as the host knows; `splice_ms` is how long a
        SPLICE takes from here to the board.
        """
        if self.stopping or self.ended:
            return None
        if self._wanted and self.started and not self._splice:
            return self._begin_splice(run_tick + self._ms(splice_ms))
        frame = self._course.next
        if frame is None:
            return self._close()
        if self._cost + frame.cost > self._credit:
            return self._begin()
        if self._is_ahead(run_tick):
            return self._begin()
        self._course.take()
        self._cost += frame.cost
        return Edges.TYPE, frame.payload(self._course.epoch)

    def _is_ahead(self, run_tick: int) -> bool:
        """Is enough on its way for now?"""
        live, sent = self.order.live, self._course.last_tick
        if live:
            return sent >= run_tick + self._ms(live.ahead_ms)
        ready = self._course.count and sent >= self._ms(self.order.prefill_ms)
        return not self._start_sent and bool(ready)

    def _begin(self) -> tuple[int, bytes] | None:
        if self._start_sent:
            return None
        self._start_sent = True
        return Start.TYPE, Start(self.number).pack()

    def _close(self) -> tuple[int, bytes] | None:
        if self._end_sent:
            return self._begin()
        self._end_sent = True
        end = End(self._course.epoch, self._course.count, self._course.last_tick)
        return End.TYPE, end.pack()

    # Splices

    def splice(self, make: NewCourse) -> None:
        """Change course as soon as possible: `make` turns the place into new transitions.

        Only the newest wish counts if several come before the board has answered.
        """
        if not self.order.live:
            raise UsageError("only a live run can change its course: open it with live=Live()")
        self._wanted = (make, 0)

    def _begin_splice(self, need_tick: int) -> tuple[int, bytes]:
        assert self._wanted is not None
        make, tries = self._wanted
        self._wanted = None
        slack = self._ms(_SPLICE_SLACK_MS) << tries
        need_tick += self.board.handover_ticks + slack
        point = self._course.point_at(need_tick, self.board.shortest_hold_ticks)
        self._epochs = (self._epochs + 1) & 0xFF
        old = self._course
        self._course = old.spliced(make(point), point, self._epochs)
        self._splice = _PendingSplice(point, make, old, tries + 1)
        self._end_sent = False
        return Splice.TYPE, Splice(old.epoch, self._course.epoch, point.first).pack()

    def _splice_answer(self, status: Status) -> list[Event]:
        pending = self._splice
        if pending is None:
            return []
        if status.epoch == self._course.epoch:
            self._splice = None
            return [SpliceTaken(status.epoch_first, pending.point.from_tick)]
        if status.flags & Flag.SPLICE_REFUSED and status.refused_epoch == self._course.epoch:
            return [self.splice_failed()]
        return []

    def splice_failed(self) -> Event:
        """The board refused: the old course goes on; a later place is tried, if none is wished."""
        pending = self._splice
        assert pending is not None
        self._splice = None
        self._course = pending.old
        self._end_sent = False
        given_up = pending.tries == _SPLICE_TRIES
        if not given_up and self._wanted is None:
            self._wanted = (pending.make, pending.tries)
        return SpliceRefused(pending.point.first, given_up)

    @property
    def splicing(self) -> bool:
        """Is a SPLICE under way?"""
        return self._splice is not None

    # What the board says

    def take(self, status: Status, quality: Callable[[], LinkQuality]) -> list[Event]:
        """What a STATUS of this run tells that was not known before."""
        self._credit = max(self._credit, status.credit)
        self._course.forget(status.handed)
        events = self._splice_answer(status)
        if status.start_tick and not self.started:
            self.start_tick = status.start_tick
            events.append(RunStarted(self.number, self.start_tick, status.armed_levels))
        over = status.state not in (State.ARMED, State.RUNNING) and status.reason != Reason.NONE
        if over and not self.ended:
            self.ended = True
            events.append(self._verdict(status, quality()))
        if status.park_tick and not self.parked:
            self.parked = True
            events.append(Parked(status.park_tick))
        return events

    def _verdict(self, status: Status, quality: LinkQuality) -> RunEnded:
        reason = Reason(status.reason)
        # A SPLICE that is still under way came too late: what was played is the old course.
        course = self._splice.old if self._splice else self._course
        complete = (status.played, status.last_tick) == (course.count, course.last_tick)
        if reason is Reason.END and not complete:
            # The board says that all is well, but it has not played what was sent.
            reason = Reason.INTERNAL
        return RunEnded(
            run=self.number,
            reason=reason,
            verified=reason is Reason.END,
            played=status.played,
            last_tick=status.last_tick,
            start_tick=status.start_tick,
            quality=quality,
        )
