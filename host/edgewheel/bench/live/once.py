"""A fault that comes once: where, and for how long."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import Any, cast

import numpy as np

from edgewheel.bench.live.course import seconds_after
from edgewheel.bench.live.faults import Switched, has_window
from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.fault.lines import LostTrack
from edgewheel.fault.loose import LooseConnection
from edgewheel.fault.model import Fault, VoltageFault
from edgewheel.fault.noise import Noise
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.signal import SignalPlan

TURN_DEG, CYCLE_DEG = Fraction(360), Fraction(720)
MOST_PASSAGES = 4096
"""A tooth passes within so many edges of all tracks, or the engine does not turn that far."""


def once_from(fault: Fault, signal: SignalPlan, at_s: Fraction, tick_hz: int) -> Switched:
    """One occurrence of a fault at the next possible place after a time of the sound `signal`.

    - a fault of single teeth: the next whole tooth of its `teeth`, whatever `every` and `chance`
      say; a loose contact that opens by time opens at once;
    - noise by time: the one burst of the next whole 1 / bursts_per_s; noise of the ignition: as
      long as from one cylinder to the next;
    - another fault of a line (lost, polarity, swapped): one turn of the crank;
    - a fault of the wheel or a sensor's leads: one period of the wheel.
    """
    motion = signal.motion
    if isinstance(fault, LooseConnection) and fault.breaks_per_s:
        lost = LostTrack(fault.track, fault.shows, fault.window)
        return Switched(lost, at_s, at_s + fault.lasts_ms / 1000, once=True)
    if isinstance(fault, Noise) and fault.bursts_per_s:
        slot = math.ceil(at_s * fault.bursts_per_s)
        from_s, to_s = (Fraction(slot + n) / fault.bursts_per_s for n in (0, 1))
        return Switched(replace(fault, every=1, chance=Fraction(1)), from_s, to_s, once=True)
    if isinstance(fault, Noise):
        way = CYCLE_DEG / max(len(signal.tdc_deg), 1)
        fault = replace(fault, every=1, chance=Fraction(1))
        return Switched(fault, at_s, seconds_after(motion, at_s, way), once=True)
    if has_window(fault) and hasattr(fault, "repetition"):
        return _next_tooth(fault, signal, at_s, tick_hz)
    way = TURN_DEG if has_window(fault) else Fraction(signal.levels.period)
    return Switched(fault, at_s, seconds_after(motion, at_s, way), once=True)


def _next_tooth(fault: Fault, signal: SignalPlan, at_s: Fraction, tick_hz: int) -> Switched:
    """The next tooth that begins and ends after a time; as a voltage it ends at its centre, where
    its second half-wave begins.
    """
    own = cast(Any, fault)
    levels = signal.levels
    track = levels.tracks.index(own.track)
    teeth: tuple[int, ...] = own.repetition.teeth
    single = replace(own, repetition=Repetition(teeth) if teeth else EACH)
    edges = _edges_of(signal, track, at_s, tick_hz)
    passage = edges.passage
    assert passage is not None
    wanted = np.isin(passage % levels.teeth[track] + 1, teeth) if teeth else passage == passage
    within = (passage[1:] == passage[:-1]) ^ isinstance(fault, VoltageFault)
    whole = np.flatnonzero(wanted[1:] & within)
    if not len(whole):
        return Switched(single, at_s, at_s, once=True)
    first, last = (int(edges.ticks[whole[0] + n]) for n in (0, 1))
    return Switched(single, Fraction(first, tick_hz), Fraction(last + 1, tick_hz), once=True)


def _edges_of(signal: SignalPlan, track: int, at_s: Fraction, tick_hz: int) -> EdgeChunk:
    """The edges of a track after a time, over two cycles of the engine or as many as there are."""
    levels: LevelTable = signal.levels
    compiler = EdgeCompiler(levels, signal.motion, tick_hz, passages=True)
    wanted, found = min(2 * len(levels) * int(CYCLE_DEG) // levels.period, MOST_PASSAGES), 0
    nothing = EdgeChunk.empty()
    parts = [EdgeChunk(nothing.ticks, nothing.track, nothing.level, nothing.ticks)]
    for chunk in compiler.chunks(at_s, None, 256):
        parts.append(chunk[chunk.track == track])
        found += len(chunk)
        if found >= wanted:
            break
    return join(*parts) if any(map(len, parts)) else parts[0]
