"""Time to compile an edge table, over one numpy multiply, round and cast of as many numbers.

    PYTHONPATH=tests python tests/benchmarks/compile_time.py

Each ratio is the best of some runs over the best of as many of the reference, timed in turn, since
a busy machine only ever adds. The budget is 4.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import numpy as np

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable, VrTrack, wheel_levels
from edgewheel.motion.gas import gas_ripple
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import find, names
from edgewheel.wheel.model import Amplitude
from engines import four

EDGES = 1_000_000
PAIRS = 5
RIPPLE = CompressionRipple(Fraction(1, 4), Fraction(2))
GAS = gas_ripple(four(), Fraction(200))


def motions(edges_per_turn: float) -> dict[str, Motion]:
    """Motions that give about EDGES edges."""
    turns = Fraction(int(EDGES / edges_per_turn) + 1)
    return {
        "hold 250": Motion([hold(Fraction(250), turns=turns)]),
        "hold 3000.7": Motion([hold(Fraction("3000.7"), turns=turns)]),
        "hold 20000": Motion([hold(Fraction(20000), turns=turns)]),
        "ripple 250": Motion([hold(Fraction(250), turns=turns, ripple=RIPPLE)]),
        "ramp 1000-6000": Motion([ramp(Fraction(1000), Fraction(6000), turns=turns)]),
        "rippled ramp": Motion([ramp(Fraction(300), Fraction(6000), turns=turns, ripple=RIPPLE)]),
        "ramp 0-200": Motion([ramp(Fraction(0), Fraction(200), turns=turns)]),
        "gas 200": Motion([hold(Fraction(200), turns=turns, ripple=GAS)]),
    }


def weak_vr(levels: LevelTable) -> LevelTable:
    """The same level changes as if VR sensors made them that lose teeth below 180 rpm."""
    amplitude = Amplitude(Fraction(1), Fraction(180))
    turns_deg = [Fraction(720 if track in levels.cams else 360) for track in range(8)]
    vr = tuple(
        VrTrack(track, turns_deg[track], amplitude)
        for track in range(len(levels.tracks))
        if all(pulse.track != track for pulse in levels.pulses)
    )
    return replace(levels, vr=vr)


def ratio(levels: LevelTable, motion: Motion, tick_hz: int) -> float:
    """Compile time over the time of the numpy reference."""
    compiler = EdgeCompiler(levels, motion, tick_hz)
    count = sum(len(chunk) for chunk in compiler.chunks())
    ideal = np.linspace(0, 1, count)

    def compile_all() -> None:
        for _ in EdgeCompiler(levels, motion, tick_hz).chunks():
            pass

    def reference() -> None:
        np.rint(ideal * tick_hz).astype(np.int64)

    pairs = [(seconds(compile_all), seconds(reference)) for _ in range(PAIRS)]
    return min(ours for ours, _ in pairs) / min(numpys for _, numpys in pairs)


def seconds(work: Callable[[], None]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def main() -> None:
    worst: dict[str, tuple[float, str]] = {}
    for name in names():
        levels = wheel_levels(find(name))
        for tick_hz in (16_000_000, 125_000_000):
            for motion_name, motion in motions(len(levels) * 360 / levels.period).items():
                found = ratio(levels, motion, tick_hz)
                key = f"{motion_name} at {tick_hz // 1_000_000} MHz"
                worst[key] = max(worst.get(key, (0.0, "")), (found, name))
            gas = motions(len(levels) * 360 / levels.period)["gas 200"]
            key = f"weak VR, gas 200 at {tick_hz // 1_000_000} MHz"
            found = ratio(weak_vr(levels), gas, tick_hz)
            worst[key] = max(worst.get(key, (0.0, "")), (found, name))
    for key, (found, name) in worst.items():
        print(f"{key:28s} {found:6.2f}  {name}")


if __name__ == "__main__":
    main()
