"""What surrounds a stage in a simulation: rails, a board's pin, cables; and how edges are read.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

import itertools

import numpy as np

from simulate.ngspice import Array

_SECTIONS = 8
RAILS = "V5 p5v 0 5\nV8 p8v 0 8\nV12 p12v 0 12\n"


def cable(near: str, far: str, metres: float = 5) -> str:
    """An unscreened pair: 100 ohm, 5 ns a metre, in lumps; 0.1 ohm a metre damps it."""
    inductance, capacitance = 500e-9 * metres, 50e-12 * metres
    nodes = [near, *(f"cable{n}" for n in range(1, _SECTIONS)), far]
    lines = [f"Ccable0 {near} 0 {capacitance / _SECTIONS / 2:g}"]
    for n, (a, b) in enumerate(itertools.pairwise(nodes), 1):
        share = 1 if n < _SECTIONS else 2
        lines += [
            f"Lcable{n} {a} loss{n} {inductance / _SECTIONS:g}",
            f"Rcable{n} loss{n} {b} {0.1 * metres / _SECTIONS:g}",
            f"Ccable{n} {b} 0 {capacitance / _SECTIONS / share:g}",
        ]
    return "\n".join(lines) + "\n"


def crossings(time: Array, signal: Array, level: float, rising: bool) -> Array:
    """Times at which the signal goes through a level, interpolated."""
    above = signal >= level
    turns = np.flatnonzero(above[:-1] != above[1:])
    turns = turns[above[turns + 1] == rising]
    before, after = signal[turns], signal[turns + 1]
    times: Array = time[turns] + (level - before) / (after - before) * (
        time[turns + 1] - time[turns]
    )
    return times


def first_crossing(time: Array, signal: Array, level: float, rising: bool, since: float) -> float:
    """The first crossing after `since`; ValueError if there is none."""
    times = crossings(time, signal, level, rising)
    times = times[times > since]
    if times.size == 0:
        raise ValueError(f"The signal never goes through {level:g} V after {since:g} s.")
    return float(times[0])
