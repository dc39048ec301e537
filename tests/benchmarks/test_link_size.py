"""What an edge costs on the wire, framing included, and what it costs the host to send it.

Sizes are the same on every machine, so they are held to the budgets; times are printed as ratios to
one multiply-round-cast of numpy over the same edges. Run with -s to see the figures.
"""

import time

import numpy as np
import pytest

import wire_vectors
from edgewheel.edges.table import PinHeader
from edgewheel.link.blocks import StreamLimits
from edgewheel.link.encoder import BlockEncoder
from edgewheel.link.events import RunEnded
from edgewheel.link.frames import encode_frame
from edgewheel.link.messages import Edges
from sim_bench import Bench, chunks

LIMITS = StreamLimits(history_depth=1024, shortest_hold_ticks=5, first_tick=100)
CYCLE = 234  # transitions of 60-2 with a half-moon cam in 720 degrees


def rippling(rpm, depth, waves):
    """Time of an angle at a speed of rpm (1 + depth sin(waves angle / 2)), summed up."""
    grid = np.linspace(0, 720, 200_001)
    slowness = 1 / (6 * rpm * (1 + depth * np.sin(np.deg2rad(waves * grid / 2))))
    steps = (slowness[1:] + slowness[:-1]) / 2 * np.diff(grid)
    cycle = np.concatenate(([0], np.cumsum(steps)))
    return lambda angle: angle // 720 * cycle[-1] + np.interp(angle % 720, grid, cycle)


MOTIONS = [
    ("steady 850.3 rpm", 100, wire_vectors.steady(850.3), 0.45),
    ("steady 3000.7 rpm", 300, wire_vectors.steady(3000.7), 0.45),
    ("steady 6000.3 rpm", 300, wire_vectors.steady(6000.3), 0.45),
    ("ramp 1000 to 6000 rpm in 5 s", 145, wire_vectors.ramp(1000, 6000, 5), 1.3),
    ("compression ripple 5 % at 3000 rpm", 300, rippling(3000.7, 0.05, 4), 0.65),
    ("compression ripple 15 % at 850 rpm", 100, rippling(850.3, 0.15, 4), 0.65),
    ("compression ripple 25 % at 200 rpm", 60, rippling(200.1, 0.25, 4), 0.65),
]


def encode(table):
    encoder = BlockEncoder(LIMITS, CYCLE)
    frames = []
    for chunk in chunks(table, 8192):
        frames += encoder.feed(chunk.ticks, chunk.masks)
    return [*frames, *encoder.finish()]


@pytest.mark.parametrize("tick_hz", [16_000_000, 125_000_000])
@pytest.mark.parametrize(
    ("name", "cycles", "seconds_at", "budget"), MOTIONS, ids=lambda x: str(x)[:34]
)
def test_bytes_an_edge(name, cycles, seconds_at, budget, tick_hz):
    table = wire_vectors.wheel_table(cycles, tick_hz, seconds_at)
    wire = sum(len(encode_frame(Edges.TYPE, 0, f.payload(0))) for f in encode(table))
    size = wire / len(table[0])
    print(f"\n{name}, {tick_hz / 1e6:g} MHz: {size:.3f} bytes an edge, budget {budget}", end="")
    if tick_hz == 16_000_000:
        assert size <= budget


def test_cost_of_an_edge():
    """Encode, session, link, board, all in one thread, 60-2 at 6,000 rpm."""
    table = wire_vectors.wheel_table(600, 16_000_000, wire_vectors.steady(6000), first_tick=2000)
    edges = len(table[0])
    started = time.process_time()
    encode(table)
    encoding = time.process_time() - started
    bench = Bench()
    bench.open(chunks(table), lag_hint=CYCLE)
    started = time.process_time()
    assert bench.until(RunEnded).verified
    whole = time.process_time() - started
    seconds = float(table[0][-1]) / PinHeader(16_000_000, 0, 0).tick_hz
    base = numpy_cost(edges)
    print(
        f"\nencode {1e6 * encoding / edges:.2f} us an edge ({encoding / base:.0f} numpy passes); "
        f"encode, session and board {1e6 * whole / edges:.2f} us an edge, "
        f"{seconds / whole:.0f} times real time"
    )


def numpy_cost(edges):
    """Seconds of one multiply-round-cast over so many numbers."""
    angles = np.linspace(0, 1e5, edges)
    started = time.process_time()
    for _ in range(20):
        np.rint(angles * 1234.5).astype(np.int64)
    return (time.process_time() - started) / 20
