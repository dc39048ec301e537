"""A simulated board on a pseudo-terminal, for tests of what talks to ports; in real time."""

import threading

from edgewheel.board.pty import PtyBoard
from edgewheel.board.run import SimSettings
from edgewheel.board.sim import SimBoard
from edgewheel.link.pinbus import Pulse

HZ = 16_000_000


class Loopback:
    """A wire from an output to an input, with delays in ticks; `drop` edges never arrive."""

    def __init__(self, output=0, input=0, rise=50, fall=130, inverts=False, drop=()):
        self.rise, self.fall, self.drop = rise, fall, drop
        self._output, self._input, self._inverts = output, input, inverts
        self._level = self._count = 0
        self._pending = []

    def exchange(self, transitions, until_tick):
        for tick, mask in zip(transitions.ticks.tolist(), transitions.masks.tolist(), strict=True):
            level = mask >> self._output & 1
            if level != self._level:
                self._level = level
                if self._count not in self.drop:
                    late = self.rise if level else self.fall
                    pulse = Pulse(tick + late, self._input, level ^ self._inverts)
                    self._pending.append(pulse)
                self._count += 1
        due = [pulse for pulse in self._pending if pulse.tick <= until_tick]
        self._pending = [pulse for pulse in self._pending if pulse.tick > until_tick]
        return due


class PtyBench:
    """The board at `path`, what `wire` says on its pins, until the end of a `with` block.

    A `mute` one is a port that nobody serves.
    """

    def __init__(self, wire=None, board=None, mute=False):
        self.board = board or SimBoard(SimSettings(tick_hz=HZ, history_depth=1024))
        self.pty = PtyBoard(self.board, wire)
        self.path = self.pty.port.path
        self._over = threading.Event()
        play = self._over.wait if mute else self._play
        self._thread = threading.Thread(target=play, daemon=True)

    def _play(self):
        self.pty.run(self._over.is_set)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self.unplug()
        self._thread.join()

    def unplug(self):
        """The port goes away."""
        self._over.set()
