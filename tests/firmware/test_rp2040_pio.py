"""The generator's program in an emulator that somebody else wrote: PyPI rp2040-pio-emulator."""

from __future__ import annotations

import random
import re
from collections import deque
from collections.abc import Callable

import numpy as np
from pioemu import State, emulate

from firmware.kit.emulator import Emulator
from firmware.kit.player import Player
from firmware.kit.stream import RandomEncoder
from firmware.kit.tables import FIRMWARE

AT_IRQ = 3
ONES = 0xFFFFFFFF
Y_PRESET = 0x7FFFFF


def program() -> list[int]:
    text = (FIRMWARE / "rp2040" / "programs.h").read_text(encoding="utf-8")
    words = re.search(r"GENERATOR_PROGRAM\[[^=]*=\s*{([^}]*)}", text)
    assert words
    return [int(word, 16) for word in words[1].replace(",", " ").split()]


def independent_edges(words: list[int]) -> tuple[list[tuple[int, int]], State]:
    """Cycle and mask of every change, and the state in which the machine has found no word."""
    start = State(transmit_fifo=deque(words), x_register=ONES, y_register=Y_PRESET)
    edges, state = [], start
    for before, state in emulate(
        program(),
        stop_when=lambda _, now: now.program_counter == AT_IRQ,
        initial_state=start,
        out_count=8,
    ):
        if before.pin_values != state.pin_values:
            edges.append((state.clock, state.pin_values))
    return edges, state


def test_the_boards_own_words_make_the_same_thousand_edges(
    emulator: Callable[..., Emulator],
) -> None:
    """The words that the image gave its FIFO, the pins it moved, and what the other emulator
    makes of the words."""
    rng = random.Random(3)
    transitions = [(2_000, 1)] + [(rng.randint(5, 300), n & 0xFF) for n in range(2, 1_001)]
    encoder = RandomEncoder(1, 7168)
    player = Player(emulator(), encoder.payloads(transitions), len(transitions), encoder.tick)
    board = player.board
    player.arm()
    board.edges()
    board.ask(spy=True)
    player.start()
    player.finish()
    cycles, masks, _ = board.edges()
    words = board.words
    edges, last = independent_edges(words)
    planned = np.cumsum([delta for delta, _ in transitions])
    assert edges == [(int(t), m) for t, m in zip(planned, masks, strict=True)]
    assert len(edges) == 1_000
    assert (np.diff(cycles) == np.diff([tick for tick, _ in edges])).all()
    assert last.pin_values == transitions[-1][1]
    assert last.clock == edges[-1][0] + 3
