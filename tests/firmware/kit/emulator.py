"""The real image in the emulator, in lock step: time passes only when a test says so."""

from __future__ import annotations

import base64
import json
import subprocess
from pathlib import Path
from typing import Any

import numpy as np

from firmware.kit.wire import Host

EMULATOR = Path(__file__).resolve().parents[1] / "emulator"
HZ = 125_000_000
MS = HZ // 1000


class EmulatorError(Exception):
    """The emulator found something that the silicon would not forgive."""


class Emulator:
    """One board on a USB bus. `edges()` are (cycle, mask) of the outputs, driven or not."""

    def __init__(self, image: Path, *options: str) -> None:
        self._process = subprocess.Popen(
            ["node", "lockstep.mjs", str(image), *options],
            cwd=EMULATOR, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        self._received = b""
        self._to_write = b""
        self._cycles: list[Any] = []
        self._masks: list[Any] = []
        self.led: list[tuple[int, int]] = []
        self.words: list[int] = []
        self.voltages: list[tuple[int, ...]] = []
        self.last: dict[str, Any] = {}
        self.host = Host(self)

    def ask(self, **request: Any) -> dict[str, Any]:
        """One request and its answer."""
        assert self._process.stdin and self._process.stdout
        if self._to_write:
            request["write"] = base64.b64encode(self._to_write).decode()
            self._to_write = b""
        self._process.stdin.write(json.dumps(request) + "\n")
        self._process.stdin.flush()
        answer = json.loads(self._process.stdout.readline())
        if "error" in answer:
            raise EmulatorError(answer["error"])
        self._received += base64.b64decode(answer["received"])
        self._cycles.append(np.frombuffer(base64.b64decode(answer["cycles"]), np.float64))
        self._masks.append(np.frombuffer(base64.b64decode(answer["masks"]), np.uint16))
        self.words += answer["words"]
        self.voltages += [tuple(change) for change in answer["voltages"]]
        self.led += [tuple(change) for change in answer["led"]]
        self.last = answer
        return answer

    def connect(self) -> None:
        """Enumerates the board, opens its port and says HELLO."""
        self.ask(connect=True)
        assert self.last["connected"], "the board did not enumerate"
        self.ask(line={"dtr": True})
        self.host.hello()
        self.host.poll(0)
        self.run(2 * MS)

    def run(self, cycles: int) -> None:
        """Lets time pass, and reads what the board said."""
        self.ask(run=cycles)
        self.host.listen()

    def write(self, data: bytes) -> None:
        self._to_write += data

    def take(self) -> bytes:
        data, self._received = self._received, b""
        return data

    def peek(self) -> Any:
        """The cycles of the changes that edges() will give."""
        return np.concatenate(self._cycles or [np.empty(0)])

    def edges(self) -> tuple[Any, Any, Any]:
        """Changes of the outputs since the last call: cycles, masks, and which pins were driven."""
        cycles = np.concatenate(self._cycles or [np.empty(0)]).astype(np.int64)
        both = np.concatenate(self._masks or [np.empty(0, np.uint16)])
        self._cycles, self._masks = [], []
        return cycles, (both & 0xFF).astype(np.uint8), (both >> 8).astype(np.uint8)

    def close(self) -> None:
        assert self._process.stdin
        self._process.stdin.close()
        self._process.wait(timeout=10)
