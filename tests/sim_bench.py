"""A session and a simulated board for tests: plays a table, remembers what reached the pins."""

import numpy as np

from edgewheel.board.run import SimSettings
from edgewheel.board.sim import SimBoard
from edgewheel.board.virtual import VirtualBench
from edgewheel.edges.table import PinChunk, PinHeader
from edgewheel.link.events import Connected, LinkFailed, Parked, RunEnded
from edgewheel.link.hostrun import RunOrder
from edgewheel.link.session import Session, SessionSettings
from edgewheel.link.sim_link import SimLink

HZ = 16_000_000
MS = HZ // 1000
SETTINGS = SimSettings(tick_hz=HZ, history_depth=1024)


def chunks(table, size=4096):
    ticks, masks = table
    for at in range(0, len(ticks), size):
        yield PinChunk(ticks[at : at + size], masks[at : at + size])


class Pins:
    """Listens to the outputs; `answer` may turn a batch into pulses."""

    def __init__(self, answer=None):
        self._parts = []
        self._answer = answer

    def exchange(self, transitions, until_tick):
        self._parts.append(transitions)
        return self._answer(transitions, until_tick) if self._answer else []

    @property
    def ticks(self):
        return np.concatenate([part.ticks for part in self._parts])

    @property
    def masks(self):
        return np.concatenate([part.masks for part in self._parts])


class Bench:
    """One board on one link, connected unless told otherwise."""

    def __init__(self, settings=SETTINGS, connect=True, answer=None, session=None, **link):
        self.board = SimBoard(settings)
        self.pins = Pins(answer)
        wanted = {"number": 1, "port": "sim", **(session or {})}
        self.session = Session(SessionSettings(**wanted), 0)
        self.loop = VirtualBench(self.session, self.board, self.pins, SimLink(**link))
        self.events = []
        if connect:
            self.until(Connected)

    @property
    def now_ms(self):
        return self.loop.clock.now_ns() / 1e6

    def until(self, *kinds, limit_s=120):
        """Step until an event of one of these kinds comes, or the link fails; that event."""
        seen = self.loop.run_until(
            lambda events: any(isinstance(e, (*kinds, LinkFailed)) for e in events),
            int(limit_s * 1e9),
        )
        self.events += seen
        return next(e for e in seen if isinstance(e, (*kinds, LinkFailed)))

    def wait(self, ms):
        end = self.now_ms + ms
        seen = self.loop.run_until(lambda _: self.now_ms >= end)
        self.events += seen
        return seen

    def open(self, source, initial=0, idle=0, **order):
        header = PinHeader(HZ, initial, idle)
        number = self.session.open_run(RunOrder(header, iter(source), **order))
        self.loop.settle()
        return number

    def play(self, table, **order):
        """Open a run, let it end and park; how it ended."""
        self.open(chunks(table), **order)
        self.until(Parked)
        return self.all(RunEnded)[-1]

    def stop(self, park=False):
        self.session.stop(park)
        self.loop.settle()

    def all(self, kind):
        return [event for event in self.events if isinstance(event, kind)]

    def played(self, ended):
        """Run ticks and masks of what reached the pins in a run."""
        ticks = self.pins.ticks - ended.start_tick
        return ticks[: ended.played], self.pins.masks[: ended.played]


def assert_is_prefix(played, table):
    """What was played is how the table begins."""
    count = len(played[0])
    np.testing.assert_array_equal(played[0], table[0][:count])
    np.testing.assert_array_equal(played[1], table[1][:count])
