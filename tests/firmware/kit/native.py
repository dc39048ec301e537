"""The core of the firmware, built for this machine and driven through ctypes; its chip is made
of memory."""

from __future__ import annotations

import ctypes
import subprocess
from pathlib import Path

from firmware.kit.tables import FIRMWARE
from firmware.kit.wire import Host

NATIVE = Path(__file__).resolve().parents[1] / "native"
STRICT = ["-std=c11", "-O2", "-g", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Werror"]
TICK_HZ = 16_000_000
MS = TICK_HZ // 1000


class _Edge(ctypes.Structure):
    _fields_ = (("tick", ctypes.c_uint64), ("mask", ctypes.c_uint8))


class _Code(ctypes.Structure):
    _fields_ = (("tick", ctypes.c_uint64), ("codes", ctypes.c_uint16 * 2))


def build(folder: Path, *options: str) -> Path:
    """Compiles the core and the chip made of memory; returns the library."""
    library = folder / "core.so"
    sources = sorted((FIRMWARE / "core").glob("*.c")) + sorted(NATIVE.glob("*.c"))
    subprocess.run(
        ["gcc", *STRICT, *options, "-shared", "-fPIC", f"-I{FIRMWARE / 'core'}", f"-I{NATIVE}",
         "-o", library, *sources],
        check=True,
    )  # fmt: skip
    return library


class Native:
    """The board as a host and a bench see it: bytes both ways, pins, inputs, and a clock that
    stands still."""

    def __init__(self, library: Path, handover_ticks: int = 20 * MS) -> None:
        self.lib = ctypes.CDLL(str(library))
        self.lib.board_poll.restype = ctypes.c_uint64
        self.lib.sim_interrupt.restype = ctypes.c_uint64
        self.lib.sim_time.argtypes = [ctypes.c_uint64]
        self.lib.sim_input.argtypes = [ctypes.c_uint64, ctypes.c_uint8]
        self.lib.sim_in_bootloader.restype = ctypes.c_bool
        self._sent = ctypes.create_string_buffer(1 << 20)
        self._edges = (_Edge * (1 << 19))()
        self._codes = (_Code * (1 << 18))()
        self.now = 1
        self.lib.sim_wake()
        self.lib.sim_set_handover(handover_ticks)
        self.lib.board_wake()
        self.edges()
        self.host = Host(self)

    def write(self, data: bytes) -> None:
        self.lib.board_receive(data, len(data))

    def take(self) -> bytes:
        size = self.lib.sim_take_sent(self._sent)
        return self._sent.raw[:size]

    def codes(self) -> list[tuple[int, int, int]]:
        """Codes of the VR outputs since the last call: tick of the middle, and of both waves."""
        count = self.lib.sim_take_codes(self._codes)
        return [(one.tick, one.codes[0], one.codes[1]) for one in self._codes[:count]]

    def edges(self) -> list[tuple[int, int]]:
        """Changes of the pins since the last call: tick of the board, and mask."""
        count = self.lib.sim_take_edges(self._edges)
        return [(edge.tick, edge.mask) for edge in self._edges[:count]]

    def drop(self) -> None:
        """Closes the port."""
        self.lib.board_dropped()

    def run(self, ticks: int) -> None:
        """Lets time pass; the board is called whenever it asked to be."""
        until = self.now + ticks
        while True:
            deadline = self.lib.board_poll()
            if self.now >= until:
                break
            deadline = min(deadline, self.lib.sim_interrupt())
            self.now = min(max(deadline, self.now + 1), until)
            self.lib.sim_time(self.now)
        self.host.listen()
