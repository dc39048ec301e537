"""The host's end of the wire. It does no I/O and keeps no time: both are handed to it."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from enum import Enum, auto

from edgewheel.errors import BenchError, UsageError
from edgewheel.link import failures, greeting
from edgewheel.link.events import (
    BoardStatus,
    Connected,
    Event,
    LinkFailed,
    LinkQuality,
    StateChanged,
)
from edgewheel.link.frames import LARGEST_FRAME, Frame, encode_frame
from edgewheel.link.greeting import BoardWish
from edgewheel.link.hostrun import HostRun, NewCourse, RunOrder
from edgewheel.link.inbox import Inbox
from edgewheel.link.messages import (
    ANY_RUN,
    Arm,
    Config,
    Flag,
    Hello,
    MalformedError,
    Park,
    Poll,
    Pulses,
    Reason,
    Refused,
    Splice,
    Start,
    State,
    Status,
    Stop,
)
from edgewheel.link.outbox import Outbox
from edgewheel.link.pace import Pacer
from edgewheel.link.poller import Poller
from edgewheel.link.pulse_count import PulseCount
from edgewheel.link.waves import switched_off
from edgewheel.link.welcome import Welcome

LOST_NS = 1_000_000_000
RTO_NS = 150_000_000
AHEAD_NS = 50_000_000
STOP_AGAIN_NS = 50_000_000
NEVER_NS = 1 << 63
HASTY_FRAMES = 16
"""After a SPLICE the pins are on their way to its place, and frames take their time to make: the
first ones leave as they come, few at once."""
_FRAMES_AT_ONCE = 4
_HOLE = Flag.HOLE.value


@dataclass(frozen=True)
class SessionSettings:
    """How to talk: name of the port, rate of the link, which board is wanted, session number."""

    port: str = "the port"
    bytes_per_s: float = 500_000.0
    wish: BoardWish = field(default_factory=BoardWish)
    number: int = field(default_factory=lambda: secrets.randbits(32))


class Phase(Enum):
    """How far a session has come."""

    GREETING = auto()
    CLEARING = auto()  # the board still plays the run of a host that is gone
    READY = auto()
    OVER = auto()


class Session:
    """One conversation with one board.

    Whoever drives it calls :meth:`receive` with what came, nothing if only time has passed, then
    :meth:`poll`, sends what that gives, and comes back when bytes come or the deadline passes.
    """

    def __init__(self, settings: SessionSettings, now_ns: int) -> None:
        self.settings = settings
        self.phase = Phase.GREETING
        self.run: HostRun | None = None
        self.status: Status | None = None
        self.welcome: Welcome | None = None
        self._inbox = Inbox()
        self._outbox = Outbox()
        self._pacer = Pacer(settings.bytes_per_s)
        self._heard_ns = self._status_ns = self._looked_ns = self._begun_ns = now_ns
        self._hello_ns = now_ns
        self._poller = Poller(now_ns)
        self._progress_ns = now_ns
        self._longest_gap_ns = 0
        self._stop_ns: int | None = None
        self._park_too = False
        self._hasty = 0
        self._pulses = PulseCount()
        self._waves: set[int] = set()

    # Orders

    def open_run(self, order: RunOrder) -> int:
        """Open a run; its number. UsageError if the board is not ready for one."""
        if self.phase is not Phase.READY or self.welcome is None:
            raise UsageError("no board is connected yet: wait for Connected")
        if self.run and not self.run.ended:
            raise UsageError("a run is open: stop it first")
        last = self.status.run if self.status else self.welcome.run
        number = (max(last, self.run.number if self.run else 0) + 1) % ANY_RUN
        self.run = HostRun(number, order, self.welcome)
        for config in self._configs(order):
            self._outbox.add(Config.TYPE, config.pack())
        self._outbox.add(Arm.TYPE, self.run.arm().pack())
        self._stop_ns, self._park_too = None, False
        self._pulses = PulseCount()
        return number

    def _configs(self, order: RunOrder) -> list[Config]:
        """What the order's waves are, and which of the last run's, or host's, are none now."""
        wanted = {config.wave for config in order.waves}
        unwanted = sorted(self._waves - wanted)
        self._waves = wanted
        return [*order.waves, *map(switched_off, unwanted)]

    def stop(self, park: bool = False) -> None:
        """Hold the pins at once; with `park`, bring them to their idle levels.

        Said again until it is done.
        """
        if self.run:
            self.run.stopping = True
            # ARM goes out all the same, for it is the board that says how a run has ended, and
            # CONFIG, for the next run goes by what the board was told.
            self._outbox.drop_unsent(but=(Config.TYPE, Arm.TYPE))
            self._stop_ns = 0
            self._park_too = park

    def splice(self, make: NewCourse) -> None:
        """Change the course of the live run; see :meth:`HostRun.splice`. One that has ended by
        itself has none any more, as `RunEnded` tells. UsageError if there was no run.
        """
        if self.run is None:
            raise UsageError("no run is open")
        if not self.run.ended:
            self.run.splice(make)

    @property
    def quality(self) -> LinkQuality:
        """How good the link has been so far."""
        return LinkQuality(
            retransmits=self._outbox.retransmits,
            board_gaps=self._inbox.gaps,
            bad_from_board=self._inbox.bad_frames,
            bad_from_host=self.status.bad_frames if self.status else 0,
            longest_host_gap_ns=self._longest_gap_ns,
        )

    # Bytes in

    def receive(self, data: bytes, now_ns: int) -> list[Event]:
        """Take what came from the board, and notice how late it is; what that means."""
        if self.phase is Phase.OVER:
            return []
        if self.run and not self.run.ended:
            self._longest_gap_ns = max(self._longest_gap_ns, now_ns - self._looked_ns)
        self._looked_ns = now_ns
        events: list[Event] = []
        for frame in self._inbox.feed(data):
            self._heard_ns = now_ns
            try:
                self._take(frame, now_ns, events)
            except MalformedError:
                self._inbox.malformed()
        self._check_time(now_ns, events)
        return events

    def _take(self, frame: Frame, now_ns: int, events: list[Event]) -> None:
        if frame.type == Status.TYPE:
            self._take_status(Status.unpack(frame.payload), now_ns, events)
        elif frame.type == Welcome.TYPE:
            self._take_welcome(Welcome.unpack(frame.payload), now_ns, events)
        elif frame.type == Pulses.TYPE:
            pulses = Pulses.unpack(frame.payload)
            if self.run is not None:
                events.extend(self._pulses.take(pulses, self.run.armed))
        elif frame.type == Refused.TYPE:
            self._take_refused(Refused.unpack(frame.payload), events)

    def _check_time(self, now_ns: int, events: list[Event]) -> None:
        if self.phase is Phase.GREETING:
            if now_ns - self._begun_ns >= greeting.PATIENCE_NS:
                heard = self._inbox.bytes_heard, self._inbox.frames_heard
                self._fail(greeting.no_answer(self.settings.port, *heard), events)
        elif self.phase is not Phase.OVER and now_ns - self._heard_ns >= LOST_NS:
            times_ms = LOST_NS // 1_000_000, self._longest_gap_ns // 1_000_000
            self._fail(failures.silent(self.settings.port, *times_ms), events)

    def _fail(self, error: BenchError, events: list[Event]) -> None:
        self.phase = Phase.OVER
        events.append(LinkFailed(error))

    # Greeting

    def _take_welcome(self, welcome: Welcome, now_ns: int, events: list[Event]) -> None:
        if self.phase is not Phase.GREETING:
            return
        error = greeting.judge(welcome, self.settings.wish, self.settings.port)
        if error:
            self._fail(error, events)
            return
        self.welcome = welcome
        self._waves = {wave for wave in range(8) if welcome.configured >> wave & 1}
        self._poller.due_ns = now_ns
        if welcome.state in (State.ARMED, State.RUNNING):
            self.phase, self._stop_ns = Phase.CLEARING, now_ns
        else:
            self._ready(events)

    def _ready(self, events: list[Event]) -> None:
        assert self.welcome is not None
        self.phase, self._stop_ns = Phase.READY, None
        events.append(Connected(self.welcome))

    # STATUS

    def _take_status(self, status: Status, now_ns: int, events: list[Event]) -> None:
        if self.welcome is None:
            return
        before = self.status
        if before and status.tick < before.tick:
            if before.tick - status.tick > self.welcome.tick_hz:
                self._fail(failures.restarted(self.settings.port), events)
            return  # one that was overtaken on the way
        self.status, self._status_ns = status, now_ns
        asked_ns = self._poller.hear(status.token, now_ns)
        events.append(BoardStatus(status, now_ns, asked_ns))
        if before is None or (before.state, before.run) != (status.state, status.run):
            state, reason = State(status.state), Reason(status.reason)
            events.append(StateChanged(state, reason, status.tick, status.played))
        if self.phase is Phase.CLEARING and status.state not in (State.ARMED, State.RUNNING):
            self._ready(events)
        self._take_acknowledgement(status, now_ns)
        self._take_run_status(status, events)

    def _take_acknowledgement(self, status: Status, now_ns: int) -> None:
        taken = self._outbox.acknowledge(status.next_seq)
        if taken:
            self._progress_ns = now_ns
            self._poller.progress()
            if self.run and Arm.TYPE in taken:
                self.run.armed = True
        hole = status.flags & _HOLE and self._outbox.waits
        if hole and self._poller.proves(status.token):
            self._go_back(now_ns)

    def _go_back(self, now_ns: int) -> None:
        self._outbox.go_back()
        self._poller.repeat()
        self._progress_ns = now_ns

    def _take_run_status(self, status: Status, events: list[Event]) -> None:
        run = self.run
        if run is None or not run.armed:
            return
        if status.run != run.number:
            self._fail(failures.restarted(self.settings.port), events)
            return
        events.extend(self._pulses.lost_on_board(status.lost_pulses))
        if not run.parked:
            events.extend(run.take(status, lambda: self.quality))
        if run.ended and (run.parked or not self._park_too):
            self._stop_ns = None

    def _take_refused(self, refused: Refused, events: list[Event]) -> None:
        run = self.run
        if run is None or run.ended or run.stopping:
            return
        if refused.type == Splice.TYPE and run.splicing:
            events.append(run.splice_failed())
        elif refused.type in (Config.TYPE, Arm.TYPE) or (refused.type == Start.TYPE and run.armed):
            # Before this run is armed, a START is that of the run before, repeated after its stop.
            self._fail(failures.refused(self.settings.port, refused), events)

    # Bytes out

    def poll(self, now_ns: int) -> tuple[bytes, int]:
        """What to send now, and when to come back at the latest."""
        if self.phase is Phase.OVER:
            return b"", NEVER_NS
        out: list[bytes] = []
        if self.phase is Phase.GREETING:
            return self._greet(now_ns)
        self._send_urgent(out, now_ns)
        self._repeat_if_due(now_ns)
        blocked_ns = self._send_ordered(out, now_ns)
        return b"".join(out), self._deadline(now_ns, blocked_ns)

    def _greet(self, now_ns: int) -> tuple[bytes, int]:
        data = b""
        if now_ns >= self._hello_ns:
            # The zero in front ends whatever a boot loader or terminal has left on the line.
            payload = greeting.hello(self.settings.number)
            data = b"\0" + encode_frame(Hello.TYPE, self._outbox.next_seq, payload)
            self._hello_ns = now_ns + greeting.RETRY_NS
        return data, min(self._hello_ns, self._begun_ns + greeting.PATIENCE_NS)

    def _send(self, out: list[bytes], data: bytes, now_ns: int) -> None:
        out.append(data)
        self._pacer.send(len(data), now_ns)

    def _send_urgent(self, out: list[bytes], now_ns: int) -> None:
        if self._stop_ns is not None and now_ns >= self._stop_ns:
            run = self.run.number if self.run else ANY_RUN
            message = Park(run) if self._park_too else Stop(run)
            self._send(out, encode_frame(message.TYPE, 0, message.pack()), now_ns)
            self._stop_ns = now_ns + STOP_AGAIN_NS
        if now_ns >= self._poller.due_ns and self._wants_answers():
            self._send_poll(out, now_ns)

    def _send_poll(self, out: list[bytes], now_ns: int) -> None:
        poll = Poll(self._poller.ask(now_ns))
        self._send(out, encode_frame(poll.TYPE, 0, poll.pack()), now_ns)

    def _wants_answers(self) -> bool:
        """Is there a run to keep alive, or the round trip still unknown?"""
        return self._poller.rtt_ns == 0 or (self.run is not None and not self.run.ended)

    def _repeat_if_due(self, now_ns: int) -> None:
        if self._outbox.waits and now_ns - self._progress_ns >= RTO_NS:
            self._go_back(now_ns)

    def _send_ordered(self, out: list[bytes], now_ns: int) -> int:
        """Send what there is while there is room; the time from which there is room again."""
        while True:
            wait_ns = self._pacer.wait_ns(LARGEST_FRAME + 2, AHEAD_NS, now_ns)
            if wait_ns:
                return now_ns + wait_ns
            if not self._outbox.has_unsent and not self._add_message(now_ns):
                return NEVER_NS
            if not self._outbox.waits:
                self._progress_ns = now_ns
            self._send(out, self._outbox.next_frame(), now_ns)
            if self._poller.wants_proof:
                self._send_poll(out, now_ns)
            if self._hasty:
                self._hasty -= 1
                if self._hasty % _FRAMES_AT_ONCE == _FRAMES_AT_ONCE - 1:
                    return now_ns

    def _add_message(self, now_ns: int) -> bool:
        run = self.run
        if run is None or not self._outbox.has_room:
            return False
        splice_ms = (self._pacer.busy_ns(now_ns) + self._poller.rtt_ns) // 1_000_000
        message = run.next_message(self._run_tick(now_ns), splice_ms)
        if message is None:
            return False
        self._outbox.add(*message)
        if message[0] == Splice.TYPE:
            self._hasty = HASTY_FRAMES
        return True

    def _run_tick(self, now_ns: int) -> int:
        """Where the pins are in the run now, as well as the host can know."""
        if self.status is None or self.run is None or not self.run.started or not self.welcome:
            return 0
        since = (now_ns - self._status_ns) * self.welcome.tick_hz // 1_000_000_000
        return self.status.tick - self.run.start_tick + since

    def _deadline(self, now_ns: int, blocked_ns: int) -> int:
        deadline = min(self._heard_ns + LOST_NS, blocked_ns)
        if self._wants_answers():
            deadline = min(deadline, self._poller.due_ns)
        if self._stop_ns is not None:
            deadline = min(deadline, self._stop_ns)
        if self._outbox.waits:
            deadline = min(deadline, self._progress_ns + RTO_NS)
        return max(deadline, now_ns)
