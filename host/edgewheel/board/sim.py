"""The simulated board: PROTOCOL.md with a clock and pins. It does no I/O and keeps no time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from edgewheel.board.capture import Capture
from edgewheel.board.run import SimRun, SimSettings
from edgewheel.link.frames import SMALLEST_FRAME, Frame, FrameDecoder, encode_frame
from edgewheel.link.messages import (
    FIRST_BOARD,
    FIRST_ORDERED,
    MAGIC,
    MAJOR,
    MINOR,
    Arm,
    Config,
    Edges,
    End,
    Flag,
    Hello,
    MalformedError,
    Message,
    Park,
    Poll,
    Pulses,
    Refusal,
    Refused,
    Splice,
    Start,
    Status,
    Stop,
)
from edgewheel.link.pinbus import Pulse, Transitions
from edgewheel.link.welcome import SIMULATED, Welcome

STATUS_BUSY_MS = 5
STATUS_QUIET_MS = 100
STATUS_EVERY = 8
REPEAT_MOST = 64
_HOLE, _SPLICE_REFUSED = (flag.value for flag in Flag)


class Sequence:
    """Which ordered frame comes next; repeats and holes."""

    def __init__(self) -> None:
        self.next = 0
        self.hole = False
        self.missed = 0
        self.taken = 0
        self._session: int | None = None

    def begin(self, session: int, seq: int) -> None:
        """A HELLO: a new session begins with its number."""
        if session != self._session:
            self._session, self.next, self.hole = session, seq, False

    def take(self, seq: int) -> bool:
        """Is this the frame that is expected next?"""
        behind = (self.next - seq) & 0xFF
        if behind == 0:
            self.next = (self.next + 1) & 0xFF
            self.hole = False
            self.taken += 1
            return True
        if behind > REPEAT_MOST:
            self.hole = True
            self.missed += 1
        return False


class SimBoard:
    """A board that exists in memory. Ticks are those of its own clock and never go back.

    Call :meth:`receive` with what the host sent, :meth:`advance` to let time pass and get what
    the pins did, :meth:`capture` with what the inputs got, and :meth:`poll` for what it has to
    say.
    """

    def __init__(self, settings: SimSettings | None = None, tick: int = 0) -> None:
        self.settings = settings or SimSettings()
        self._decoder = FrameDecoder()
        self._sequence = Sequence()
        self._capture = Capture(self.settings.capture_room)
        self._run = SimRun(self.settings, tick)
        self._out: list[bytes] = []
        self._out_seq = 0
        self._token = 0
        self._status_due = False
        self._status_tick = tick
        self._takers: dict[int, tuple[type[Message], Callable[[Any], Refusal | None]]] = {
            Poll.TYPE: (Poll, self._poll),
            Stop.TYPE: (Stop, lambda stop: self._run.stop(stop.run, "STOP")),
            Park.TYPE: (Park, lambda park: self._run.stop(park.run, "PARK")),
            Arm.TYPE: (Arm, self._arm),
            Edges.TYPE: (Edges, lambda edges: self._run.edges(edges)),
            Start.TYPE: (Start, lambda start: self._run.start(start.run)),
            Splice.TYPE: (Splice, lambda splice: self._run.splice(splice)),
            End.TYPE: (End, lambda end: self._run.end(end)),
            Config.TYPE: (Config, lambda config: self._run.configure(config)),
        }

    def advance(self, to_tick: int) -> Transitions:
        """Let time pass; what the pins did since the last call, up to and with `to_tick`."""
        self._run.run_to(to_tick)
        return self._run.take_changes()

    def has_news(self, tick: int) -> bool:
        """Is the board at `tick` in another state than it has said?"""
        self._run.run_to(tick)
        return self._run.news

    def receive(self, data: bytes, tick: int) -> None:
        """Bytes from the host that arrive at `tick`."""
        self._run.run_to(tick)
        for frame in self._decoder.feed(data):
            self._run.heard = tick
            self._take(frame)
            self._run.settle(tick)

    def disconnect(self, tick: int) -> None:
        """The host closed the port at `tick`."""
        self._run.run_to(tick)
        self._run.event("dropped")

    def capture(self, pulses: list[Pulse]) -> None:
        """What the inputs got, in the order of time."""
        self._capture.take(pulses)

    def poll(self, tick: int) -> tuple[bytes, int]:
        """What the board sends at `tick`, and the tick at which to ask again at the latest."""
        self._run.run_to(tick)
        if len(self._capture):
            for payload in self._capture.payloads(self.settings.largest_frame - SMALLEST_FRAME):
                self._send(Pulses.TYPE, payload)
        period = self.settings.ms(STATUS_BUSY_MS if self._run.busy else STATUS_QUIET_MS)
        if self._run.news or self._status_due or tick - self._status_tick >= period:
            self._run.news = self._status_due = False
            self._status_tick = tick
            self._send(Status.TYPE, self._status(tick).pack())
        data = b"".join(self._out)
        self._out.clear()
        return data, min(self._status_tick + period, self._run.next_event()[0])

    def _take(self, frame: Frame) -> None:
        if FIRST_ORDERED <= frame.type < FIRST_BOARD:
            if not self._sequence.take(frame.seq):
                self._status_due = True
                return
            self._status_due |= self._sequence.taken % STATUS_EVERY == 0
        code = self._hello(frame) if frame.type == Hello.TYPE else self._act(frame)
        if code is not None:
            self._send(Refused.TYPE, Refused(frame.type, frame.seq, code).pack())
            self._status_due = True

    def _act(self, frame: Frame) -> Refusal | None:
        taker = self._takers.get(frame.type)
        if taker is None:
            return Refusal.UNKNOWN
        kind, act = taker
        try:
            return act(kind.unpack(frame.payload))
        except MalformedError:
            return Refusal.MALFORMED

    def _hello(self, frame: Frame) -> Refusal | None:
        try:
            hello = Hello.unpack(frame.payload)
        except MalformedError:
            return Refusal.MALFORMED
        if hello.magic != MAGIC:
            return Refusal.VALUE
        self._sequence.begin(hello.session, frame.seq)
        self._send(Welcome.TYPE, self._welcome().pack())
        return None

    def _poll(self, poll: Poll) -> None:
        self._token = poll.token
        self._status_due = True

    def _arm(self, order: Arm) -> Refusal | None:
        refused = self._run.arm(order)
        if refused is None:
            self._capture.open(order.inputs)
        return refused

    def _send(self, type_: int, payload: bytes) -> None:
        self._out.append(encode_frame(type_, self._out_seq, payload))
        self._out_seq = (self._out_seq + 1) & 0xFF

    def _welcome(self) -> Welcome:
        has = self.settings
        return Welcome(
            major=MAJOR,
            minor=MINOR,
            board=SIMULATED,
            unique_id=has.unique_id,
            tick_hz=has.tick_hz,
            outputs=has.outputs,
            inputs=has.inputs,
            shortest_hold_ticks=has.shortest_hold_ticks,
            history_depth=has.history_depth,
            buffer_bytes=has.buffer_bytes,
            largest_frame=has.largest_frame,
            firmware=has.firmware,
            handover_ticks=has.handover_ticks,
            first_tick=has.first_tick,
            state=self._run.state,
            run=self._run.order.run,
            waves=has.waves,
            configured=self._run.waves.configured,
        )

    def _status(self, tick: int) -> Status:
        run, sequence = self._run, self._sequence
        flags = _HOLE * sequence.hole | _SPLICE_REFUSED * run.splice_refused
        return Status(
            next_seq=sequence.next,
            state=run.state,
            reason=run.reason,
            flags=flags,
            run=run.order.run,
            epoch=run.epoch,
            refused_epoch=run.refused_epoch,
            token=self._token,
            tick=tick,
            start_tick=run.start_tick,
            credit=run.stream.credit,
            handed=run.handed,
            played=run.played,
            last_tick=run.last_tick,
            epoch_first=run.epoch_first,
            park_tick=run.park_tick,
            queued=run.stream.queued,
            bad_frames=self._decoder.bad_frames,
            missed_frames=sequence.missed,
            lost_pulses=self._capture.lost,
            armed_levels=self._capture.armed_levels,
        )
