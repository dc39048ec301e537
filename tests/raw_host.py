"""A host that says one frame at a time to a simulated board and reads everything it answers."""

import struct

from edgewheel.board.run import SimSettings
from edgewheel.board.sim import SimBoard
from edgewheel.link.frames import FrameDecoder, encode_frame
from edgewheel.link.messages import Arm, Edges, Hello, Poll, Pulses, Refused, Status
from edgewheel.link.welcome import Welcome

MS = 16_000  # ticks of a 16 MHz board in a millisecond
SETTINGS = SimSettings(tick_hz=16_000_000, first_tick=100, history_depth=1024)
ARM = Arm(run=1, epoch=0, initial=0, idle=0, inputs=0xFF, park_after_ms=50, host_timeout_ms=1000)


def literal(deltas, masks):
    """One block that says everything in full."""
    count = len(deltas)
    header = (count - 1) << 2 | 32 << 6 | 1 << 12
    return struct.pack(f"<H{count}I", header, *deltas) + bytes(masks)


class RawHost:
    """Sends frames with the right numbers unless told otherwise, at board tick `tick`."""

    def __init__(self, settings=SETTINGS):
        self.board = SimBoard(settings)
        self.tick = MS
        self.seq = 0
        self.frames = []
        self.pins = []
        self._decoder = FrameDecoder()
        self.say(Hello(b"EDWH", 7, 1, 0))
        self.say(Poll(0))

    def say(self, message, seq=None):
        """Send a message now."""
        if seq is None:
            seq = self.seq
            self.seq = (seq + (message.TYPE >= 0x10)) & 0xFF
        self.send(encode_frame(message.TYPE, seq, message.pack()))

    def send(self, data):
        self.board.receive(data, self.tick)
        self._look()

    def wait(self, ticks):
        """Let time pass, a millisecond at a time."""
        end = self.tick + ticks
        while self.tick < end:
            self.tick = min(end, self.tick + MS)
            self._look()

    def _look(self):
        changes = self.board.advance(self.tick)
        self.pins += zip(changes.ticks.tolist(), changes.masks.tolist(), strict=True)
        data, _ = self.board.poll(self.tick)
        self.frames += self._decoder.feed(data)

    def all(self, kind):
        return [kind.unpack(f.payload) for f in self.frames if f.type == kind.TYPE]

    @property
    def status(self):
        return self.all(Status)[-1]

    def ask(self):
        """The STATUS that answers a POLL."""
        self.say(Poll(77))
        return self.status

    @property
    def refused(self):
        return [(r.type, r.code) for r in self.all(Refused)]

    @property
    def welcome(self):
        return self.all(Welcome)[-1]

    @property
    def pulses(self):
        return self.all(Pulses)

    def edges(self, first, tick_before, deltas, masks, epoch=0):
        end_tick = (tick_before + sum(deltas)) % 2**32
        self.say(Edges(epoch, len(deltas), first, end_tick, literal(deltas, masks)))
