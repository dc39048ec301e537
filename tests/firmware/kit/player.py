"""Plays transitions on a board as a host does: within its credit, at most 60 frames ahead, and
alive."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from firmware.kit.stream import Transition
from firmware.kit.wire import arm, end

BUSY = ("armed", "running")
WINDOW = 60


class Player:
    """One run. `payloads` are EDGES of epoch 0, `tick` the run tick of the last transition,
    None for a run without END."""

    def __init__(
        self, board: Any, payloads: Sequence[bytes], count: int, tick: int | None, run: int = 1
    ) -> None:
        self.board = board
        self.payloads = payloads
        self.count = count
        self.tick = tick
        self.run = run
        self.at = 0
        self.cost = 0
        self.ended = tick is None

    def arm(self, **order: Any) -> None:
        """Opens the run and waits until the board has done so."""
        self.board.host.send("ARM", arm(run=self.run, **order))
        for _ in range(50):
            self.board.run(125_000)
            if self.board.host.state == "armed":
                return
        raise AssertionError("the board did not arm")

    def feed(self, most: int = 1 << 30) -> None:
        """Sends as much as credit and window allow, then END."""
        host = self.board.host
        while self.at < len(self.payloads) and most > 0:
            payload = self.payloads[self.at]
            ahead = host.seq - host.status.next_seq & 0xFF
            if self.cost + len(payload) + 2 > host.status.credit or ahead >= WINDOW:
                break
            host.send("EDGES", payload)
            self.cost += len(payload) + 2
            self.at += 1
            most -= 1
        if self.at == len(self.payloads) and not self.ended:
            assert self.tick is not None
            host.send("END", end(0, self.count, self.tick))
            self.ended = True

    def fill(self, most_bytes: int = 1 << 30) -> None:
        """Sends the beginning, up to so many bytes or the board's credit, and waits until the
        board has it."""
        host = self.board.host
        for _ in range(2_000):
            before = self.at
            if self.cost < most_bytes:
                self.feed()
            self.board.run(125_000)
            if self.at == before and host.status.next_seq == host.seq:
                return
        raise AssertionError("the board did not take what it was sent")

    def start(self, prefill_bytes: int = 60_000) -> None:
        """Sends the beginning and starts."""
        self.fill(prefill_bytes)
        self.board.host.start(self.run)
        self.board.run(125_000)

    def finish(self, step: int = 125_000, longest_s: float = 60.0) -> None:
        """Feeds until the run is over."""
        left = longest_s * 125e6
        polled = 0
        while self.board.host.state in BUSY and left > 0:
            self.feed()
            if polled <= 0:
                self.board.host.poll(1)
                polled = 12_500_000
            self.board.run(step)
            left -= step
            polled -= step


def planned(transitions: Sequence[Transition], initial: int = 0) -> tuple[Any, Any]:
    """Run ticks and masks of the transitions that change something."""
    ticks = np.cumsum([delta for delta, _ in transitions])
    masks = np.array([mask for _, mask in transitions], np.uint8)
    moves = masks != np.concatenate(([initial], masks[:-1]))
    return ticks[moves], masks[moves]


def errors(edges: tuple[Any, Any, Any], transitions: Sequence[Transition], initial: int = 0) -> Any:
    """Cycles by which each of the edges at the pins is off, after its masks are found equal.

    Run tick 0 is taken from the first edge; that it is where STATUS says is shown elsewhere.
    """
    ticks, masks = planned(transitions, initial)
    cycles, levels, driven = edges
    assert (driven == 0xFF).all(), "an output was not driven"
    assert len(cycles) == len(ticks), f"{len(cycles)} edges at the pins, {len(ticks)} planned"
    assert (levels == masks).all()
    return (cycles - cycles[0]) - (ticks - ticks[0])
