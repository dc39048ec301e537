"""The simulated controller on the pins of the emulated board, its serial line on a TCP port."""

from __future__ import annotations

import socket
import threading
import time
from pathlib import Path

import numpy as np

from edgewheel.bench.wired import ControllerOnPins
from edgewheel.controller.sim.settings import ControllerSettings
from edgewheel.edges.stage import OutputStage
from edgewheel.link.pinbus import Transitions
from firmware.kit.emulator import HZ
from firmware.kit.served import Pulse, Served

INPUTS = 8


class SerialLine:
    """One serial line as `url`; what is said while nobody listens is lost, as on a real one."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._listeners: list[socket.socket] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                self._listeners.append(self._server.accept()[0])
            except OSError:
                return  # closed

    def say(self, data: bytes) -> None:
        for listener in list(self._listeners):
            try:
                listener.sendall(data)
            except OSError:
                self._listeners.remove(listener)

    def close(self) -> None:
        self._server.close()
        for listener in self._listeners:
            listener.close()


class WiredBoard(Served):
    """Board at `url`, controller at `controller_url`; the pins are exchanged every `quantum_us`.

    What the controller does in a quantum reaches the board's inputs a quantum later.
    """

    def __init__(
        self,
        image: Path,
        settings: ControllerSettings,
        lines: tuple[str, ...] = ("crank", "cam"),
        quantum_us: int = 500,
        supply: str | None = None,
    ) -> None:
        self._line = SerialLine()
        self.controller_url = self._line.url
        self.controller = ControllerOnPins(
            settings, HZ, lines, OutputStage.straight(len(lines)), INPUTS, supply
        )
        self._late = quantum_us * HZ // 1_000_000
        super().__init__(image, self._exchange, "--quantum-us", str(quantum_us))

    def _exchange(self, moved: list[tuple[int, int]], tick: int) -> list[Pulse]:
        both = np.array(moved, np.int64).reshape(-1, 2)
        transitions = Transitions(both[:, 0], both[:, 1].astype(np.uint8))
        pulses = self.controller.exchange(transitions, tick)
        for _, data in self.controller.take_serial():
            self._line.say(data)
        return [(max(p.tick, 0) + self._late, p.input, p.level) for p in pulses]

    def close(self) -> None:
        super().close()
        self._line.close()


class EmulatedClock:
    """The time of an emulated board for its host.

    On a busy machine the emulator falls behind the clock on the wall, as no crystal does; a host
    that lives in the board's time sees what it would see of a real one.
    """

    def __init__(self, board: Served) -> None:
        self._board = board

    def now_ns(self) -> int:
        return self._board.tick * 1_000_000_000 // HZ

    def sleep_until(self, deadline_ns: int) -> None:
        while self.now_ns() < deadline_ns:
            time.sleep(0.001)
