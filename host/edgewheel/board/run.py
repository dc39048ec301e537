"""One run of the simulated board: its state, its stream, and what reaches the pins when."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgewheel.board.states import TABLE, Effect, Row
from edgewheel.board.stream import OverrunError, Stream
from edgewheel.board.waves import Waves
from edgewheel.link.blocks import StreamError, StreamLimits
from edgewheel.link.messages import (
    ANY_RUN,
    Arm,
    Config,
    Edges,
    End,
    Reason,
    Refusal,
    Splice,
    State,
)
from edgewheel.link.pinbus import NO_TRANSITIONS, Transitions

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]

NEVER = 1 << 63


@dataclass(frozen=True)
class SimSettings:
    """What the simulated board is made of; the defaults are those of the RP2040 firmware."""

    tick_hz: int = 125_000_000
    outputs: int = 8
    inputs: int = 8
    shortest_hold_ticks: int = 5
    first_tick: int = 1250
    history_depth: int = 7168
    buffer_bytes: int = 131_072
    largest_frame: int = 250
    handover_ms: int = 20
    waves: int = 2
    capture_room: int = 4096
    unique_id: bytes = b"simulate"
    firmware: str = "simulated"

    @property
    def handover_ticks(self) -> int:
        return self.ms(self.handover_ms)

    @property
    def limits(self) -> StreamLimits:
        return StreamLimits(
            self.history_depth, self.shortest_hold_ticks, self.first_tick, self.largest_frame
        )

    def ms(self, milliseconds: int) -> int:
        """So many milliseconds in ticks."""
        return milliseconds * self.tick_hz // 1000


class SimRun:
    """The state machine of PROTOCOL.md section 5 and the output stage behind it.

    Time goes on by :meth:`run_to`; every event happens at its own tick, however large the steps
    are.
    """

    def __init__(self, settings: SimSettings, tick: int) -> None:
        self.settings = settings
        self.handover_ticks = settings.handover_ticks
        self.now = tick
        self.state = State.IDLE
        self.reason = Reason.NONE
        self.order = Arm(0, 0, 0, 0, 0, 0, 1)
        self.news = False
        self.heard = tick
        self.pins = 0
        self.waves = Waves(settings.waves, settings.outputs)
        self._changes: list[tuple[Ints, Bytes]] = []
        self._open(self.order)

    def _open(self, order: Arm) -> None:
        self.order = order
        self.waves.open(order.initial)
        self._timeout_ticks = self.settings.ms(order.host_timeout_ms)
        self._park_after_ticks = self.settings.ms(order.park_after_ms)
        self.epoch = order.epoch
        self.epoch_first = self.refused_epoch = 0
        self.splice_refused = False
        self.start_tick = self.park_tick = self.last_tick = self.played = 0
        self.stream = Stream(self.settings.limits, self.settings.buffer_bytes)
        self._held_tick = 0
        self._handed = 0
        self._dry_not_before = 0
        # Decoded transitions that are not on the pins yet begin at `_at`.
        self._ticks, self._masks, self._at = NO_TRANSITIONS.ticks, NO_TRANSITIONS.masks, 0

    @property
    def busy(self) -> bool:
        """Is a run open?"""
        return self.state is State.ARMED or self.state is State.RUNNING

    @property
    def handed(self) -> int:
        """Transitions handed to the output stage since START: all due within handover_ticks."""
        if self.state is State.RUNNING:
            horizon = self.now - self.start_tick + self.handover_ticks
            ahead = int(self._ticks.searchsorted(horizon, side="right")) - self._at
            self._handed = max(self._handed, self.played + ahead)
        return self._handed

    def take_changes(self) -> Transitions:
        """What the pins did since the last call, in board ticks."""
        parts, self._changes = self._changes, []
        peaks = self.waves.take_peaks()
        if len(parts) == 1:
            return Transitions(*parts[0], peaks)
        if not parts:
            return NO_TRANSITIONS
        return Transitions(
            np.concatenate([ticks for ticks, _ in parts]),
            np.concatenate([masks for _, masks in parts]),
            peaks,
        )

    # Time

    def run_to(self, tick: int) -> None:
        """Let time pass up to `tick`, and let everything happen that is due by then."""
        if tick > self.now:
            self.settle(tick)

    def settle(self, tick: int) -> None:
        """The same, also if no time passes: something has come that may be due at once."""
        while True:
            at, event = self.next_event()
            if at > tick:
                break
            self._play(at)
            if event == "decode":
                self._decode()
            else:
                self.event(event)
        self._play(tick)

    def next_event(self) -> tuple[int, str]:
        """The tick and name of what happens next by itself; NEVER if nothing does."""
        if self.state is State.RUNNING:
            at, event = self._next_of_stream()
        else:
            at, event = NEVER, ""
        if self.busy:
            silent = self.heard + self._timeout_ticks
            if silent < at:
                at, event = silent, "silence"
        elif self.state is not State.IDLE and not self.park_tick:
            at, event = self._held_tick + self._park_after_ticks, "time"
        return max(at, self.now), event

    def _next_of_stream(self) -> tuple[int, str]:
        stream = self.stream
        last = self.start_tick + stream.decoded_tick
        if stream.waiting:
            return last - self.handover_ticks, "decode"
        if stream.end is not None:
            return last, "finished"
        return max(last, self._dry_not_before), "dry"

    def _play(self, tick: int) -> None:
        """Put on the pins what is due up to `tick`."""
        self.now = tick
        if self.state is not State.RUNNING:
            return
        to = int(self._ticks.searchsorted(tick - self.start_tick, side="right"))
        if to > self._at:
            ticks, masks = self._ticks[self._at : to], self._masks[self._at : to]
            self._changes.append((ticks + self.start_tick, masks))
            self.waves.follow(ticks + self.start_tick, masks)
            self.played += to - self._at
            self.last_tick = int(ticks[-1])
            self.pins = int(masks[-1])
            self._at = to

    def _decode(self) -> None:
        try:
            ticks, masks = self.stream.decode_next()
        except StreamError:
            self.event("misfit")
            return
        if ticks[0] <= self.now - self.start_tick:
            self.event("late")
            return
        self._ticks = np.concatenate((self._ticks[self._at :], ticks))
        self._masks = np.concatenate((self._masks[self._at :], masks))
        self._at = 0

    # Events

    def event(self, name: str) -> bool:
        """Go through the state table; false if it has no row for this event in this state."""
        row = TABLE.get((self.state, name))
        if row is None:
            return False
        busy = self.busy
        handed = self.handed
        if row.effect is Effect.HOLD or (row.effect is Effect.PARK and busy):
            self._hold(handed)
        self.news |= row.next is not self.state or row.effect is Effect.PARK
        self._enter(row)
        return True

    def _enter(self, row: Row) -> None:
        self.state = row.next
        if row.reason:
            self.reason = row.reason
        if row.effect is Effect.PARK:
            self._set_pins(self.order.idle)
            self.park_tick = self.park_tick or self.now
        elif row.effect is Effect.START:
            self.start_tick = self.now

    def _hold(self, handed: int) -> None:
        self._handed = handed
        self._held_tick = self.now
        self.stream.drop()

    def _set_pins(self, mask: int) -> None:
        if mask != self.pins:
            change = np.array([self.now]), np.array([mask], np.uint8)
            self._changes.append(change)
            self.waves.rest(*change)
            self.pins = mask

    # Frames

    def configure(self, config: Config) -> Refusal | None:
        """CONFIG: what a wave does in the runs to come. Raises MalformedError."""
        if (self.state, "CONFIG") not in TABLE:
            return Refusal.STATE
        if not self.waves.configure(config):
            return Refusal.VALUE
        self.event("CONFIG")
        return None

    def arm(self, order: Arm) -> Refusal | None:
        """ARM: open a run."""
        if (self.state, "ARM") not in TABLE:
            return Refusal.STATE
        if not order.host_timeout_ms or (order.initial | order.idle) >> self.settings.outputs:
            return Refusal.VALUE
        self._open(order)
        self.reason = Reason.NONE
        self._set_pins(order.initial)
        self.event("ARM")
        return None

    def edges(self, edges: Edges) -> Refusal | None:
        """EDGES: queue them, if they are of the epoch in force."""
        if not self.busy:
            self.stream.ignore(edges)
            return self._unwanted()
        if edges.epoch != self.epoch:
            self.stream.ignore(edges)
            return None
        self.event("EDGES")
        try:
            self.stream.push(edges)
        except OverrunError:
            self.event("overrun")
        except StreamError:
            self.event("misfit")
        return None

    def end(self, end: End) -> Refusal | None:
        """END: the stream is complete."""
        if not self.busy:
            return self._unwanted()
        if end.epoch == self.epoch:
            self.event("END")
            try:
                self.stream.close(end)
            except StreamError:
                self.event("misfit")
        return None

    def _unwanted(self) -> Refusal | None:
        """EDGES and END are ignored after a run: they were under way when it ended."""
        return Refusal.STATE if self.state is State.IDLE else None

    def start(self, run: int) -> Refusal | None:
        """START: run tick 0 is now."""
        if self.state is not State.ARMED:
            return Refusal.STATE
        if run != self.order.run or not (self.stream.known or self.stream.end):
            return Refusal.VALUE
        self.event("START")
        return None

    def splice(self, splice: Splice) -> Refusal | None:
        """SPLICE: a new course from transition `first` on, if it comes in time."""
        if not self.busy:
            return Refusal.STATE
        self.news = True
        good = splice.epoch == self.epoch and self.stream.splice(splice.first, self.handed)
        self.splice_refused = not good
        if not good:
            self.refused_epoch = splice.next_epoch
            return None
        self.event("SPLICE")
        self.epoch, self.epoch_first = splice.next_epoch, splice.first
        keep = self._at + max(0, splice.first - self.played)
        self._ticks, self._masks = self._ticks[:keep], self._masks[:keep]
        self._dry_not_before = self.now + self.handover_ticks
        return None

    def stop(self, run: int, event: str) -> None:
        """STOP or PARK, if it names this run or any."""
        if run in (self.order.run, ANY_RUN):
            self.event(event)
