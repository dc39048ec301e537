"""From a wheel file and a motion file to the pins, by the project's own compiler and encoder,
and how fast that can go."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import wheel_levels
from edgewheel.edges.pins import PinMaker
from edgewheel.edges.stage import OutputStage
from edgewheel.link.blocks import StreamLimits
from edgewheel.link.encoder import BlockEncoder
from edgewheel.motion.loader import load_motion
from edgewheel.wheel.loader import parse_wheel
from firmware.kit.emulator import HZ, MS, Emulator
from firmware.kit.player import Player

LIMITS = StreamLimits(7168, 5, 1_250, 250)

WHEEL = """
format: 1
name: Eight lines for the bench
summary: Crank, slotted discs and cams of a frost-fan engine that nobody has built
period: 720
tracks:
  crank: {shaft: crank, teeth: {pitches: 60, missing: [59, 60], width: 1/2}}
  disc: {shaft: crank, teeth: {pitches: 180, width: 1/3}}
  coarse: {shaft: crank, teeth: {pitches: 12, missing: 1, width: 2/5}}
  half: {shaft: cam, teeth: [[20, 200]]}
  windows: {shaft: cam, teeth: [[10, 31], [100, 133], [201, 244], [300, 315]]}
  even: {shaft: cam, teeth: {pitches: 4, width: 1/2}}
  single: {shaft: cam, teeth: [[77, 84]]}
  fine: {shaft: cam, teeth: {pitches: 90, missing: 2, width: 1/2}}
"""

MOTION = """
format: 1
segments:
  - {ramp: 250, seconds: 0.4}
  - {hold: 250, turns: 2, ripple: {per_turn: 2, depth: 0.25}}
  - {ramp: 3000, seconds: 0.5}
  - {hold: 3000.7, turns: 90}
  - {shift: 0.6, seconds: 0.1}
  - {repeat: 3, segments: [{ramp: 4000, seconds: 0.05}, {ramp: 3000, seconds: 0.05}]}
  - {hold: 3000, turns: 50, ripple: {per_turn: 2, depth: 0.01}}
  - {run_down: {friction: 20000}}
  - {rock: 40, seconds: 0.4}
  - {ramp: 600, seconds: 0.3, reverse: true}
"""


def encoded(ticks: Any, masks: Any, lag: int) -> list[bytes]:
    encoder = BlockEncoder(LIMITS, lag)
    frames = [*encoder.feed(ticks, masks), *encoder.finish()]
    return [frame.payload(0) for frame in frames]


def play(board: Emulator, ticks: Any, masks: Any, lag: int, **order: int) -> float:
    """Plays a table and holds every edge to it; bytes of payload an edge."""
    payloads = encoded(ticks, masks, lag)
    player = Player(board, payloads, len(ticks), int(ticks[-1]))
    player.arm(**order)
    board.edges()
    player.start(110_000)
    player.finish(step=MS // 2)
    assert (board.host.state, board.host.reason) == ("holding", "end")
    cycles, levels, driven = board.edges()
    assert (driven == 0xFF).all()
    moves = masks != np.concatenate(([order.get("initial", 0)], masks[:-1]))
    assert (levels == masks[moves]).all()
    off = (cycles - cycles[0]) - (ticks[moves] - ticks[moves][0])
    assert np.abs(off).max() == 0
    return sum(map(len, payloads)) / len(ticks)


def compiled(tmp_path: Path) -> tuple[Any, Any, int]:
    levels = wheel_levels(parse_wheel(WHEEL, "bench.yaml"))
    (tmp_path / "motion.yaml").write_text(MOTION, encoding="utf-8")
    compiler = EdgeCompiler(levels, load_motion(tmp_path / "motion.yaml"), HZ)
    header = compiler.header()
    maker = PinMaker(header, OutputStage.straight(len(header.tracks)), 1_250, 5)
    chunks = list(maker.chunks(compiler.chunks()))
    ticks = np.concatenate([chunk.ticks for chunk in chunks])
    masks = np.concatenate([chunk.masks for chunk in chunks])
    return ticks, masks, maker.header.initial_mask


def test_a_hundred_thousand_edges_of_every_kind_of_motion(
    emulator: Callable[..., Emulator], tmp_path: Path
) -> None:
    ticks, masks, initial = compiled(tmp_path)
    board = emulator()
    size = play(board, ticks, masks, 0, initial=initial)
    seconds = ticks[-1] / HZ
    edges = int(np.bitwise_count(masks ^ np.concatenate(([initial], masks[:-1]))).sum())
    print(
        f"{edges} edges on 8 outputs, {len(ticks)} transitions in {seconds:.1f} s,"
        f" {size:.2f} B each: no error"
    )
    assert edges >= 100_000


def fast_table(rate_hz: int, seconds: float) -> tuple[Any, Any, int]:
    """A cycle of 240 uneven transitions, slowly speeding up, at about a rate."""
    rng = np.random.default_rng(1)
    cycle = rng.uniform(0.4, 1.6, 240)
    count = int(rate_hz * seconds) + 240
    shape = np.resize(cycle / cycle.mean(), count) * np.linspace(1.02, 0.98, count)
    ticks = 2_000 + np.cumsum(np.maximum(shape * HZ / rate_hz, 6)).astype(np.int64)
    masks = np.resize(rng.integers(0, 256, 240).astype(np.uint8), count)
    masks[masks == np.roll(masks, 1)] ^= 1
    return ticks, masks, 240


def test_200_000_edges_a_second_for_two_seconds(emulator: Callable[..., Emulator]) -> None:
    board = emulator()
    ticks, masks, lag = fast_table(200_000, 2.0)
    before = board.last["asleep"], board.last["cycle"]
    size = play(board, ticks, masks, lag)
    awake = 1 - (board.last["asleep"] - before[0]) / (board.last["cycle"] - before[1])
    used = awake * (board.last["cycle"] - before[1]) / len(ticks)
    print(f"{len(ticks)} transitions, {size:.2f} B each, {used:.0f} processor cycles each")


def holds(board: Emulator, rate_hz: int, seconds: float) -> bool:
    ticks, masks, lag = fast_table(rate_hz, seconds)
    try:
        play(board, ticks, masks, lag)
    except AssertionError:
        return False
    return True


@pytest.mark.slow
def test_highest_rate_that_holds(emulator: Callable[..., Emulator]) -> None:
    """Found by trying; far above the budget, and reported with what limits it."""
    good = 200_000
    for rate_hz in rates():
        if not holds(emulator(), rate_hz, 0.4):
            break
        good = rate_hz
    print(f"highest rate that holds for 0.4 s: {good} transitions a second")
    assert good >= 300_000


def rates() -> Iterator[int]:
    yield from range(300_000, 1_000_001, 50_000)
