"""The emulator running by itself behind a TCP port, and a peer on its pins."""

from __future__ import annotations

import json
import socket
import subprocess
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from firmware.kit.emulator import EMULATOR

Pulse = tuple[int, int, int]  # tick, input, level
Listener = Callable[[list[tuple[int, int]], int], list[Pulse]]


class Served:
    """A board at `url`; everything its outputs do is in `transitions`, by cycles of the chip.

    `listener` gets the transitions of a quantum and the tick that ends it, and gives pulses.
    """

    def __init__(self, image: Path, listener: Listener | None = None, *options: str) -> None:
        self._process = subprocess.Popen(
            ["node", "serve.mjs", str(image), "--pins", *options],
            cwd=EMULATOR, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert self._process.stdout
        ports = json.loads(self._process.stdout.readline())
        self.url = f"socket://127.0.0.1:{ports['serial']}"
        self.transitions: list[tuple[int, int]] = []
        self.tick = 0
        self._listener = listener or (lambda transitions, tick: [])
        self._halt = False
        self._pins = socket.create_connection(("127.0.0.1", ports["pins"]))
        self._thread = threading.Thread(target=self._serve_pins, daemon=True)
        self._thread.start()

    def _serve_pins(self) -> None:
        try:
            with self._pins.makefile("rw", encoding="utf-8") as file:
                for line in file:
                    answer = {"pulses": self._hear(json.loads(line)), "halt": self._halt}
                    self._halt = False
                    file.write(json.dumps(answer) + "\n")
                    file.flush()
        except OSError:
            return  # the emulator is gone, or about to be

    def crash(self) -> None:
        """Stops the firmware within a quantum; its watchdog then resets the board."""
        self._halt = True

    def _hear(self, message: dict[str, Any]) -> list[Pulse]:
        moved = [(tick, mask) for tick, mask in message["transitions"]]
        self.transitions += moved
        self.tick = message["tick"]
        return self._listener(moved, self.tick)

    def close(self) -> None:
        self._process.kill()
        self._process.wait(timeout=10)
        self._pins.close()
        self._thread.join(timeout=10)
