"""Randomness by counter: every tooth has its own draw, whatever else is computed and when."""

from __future__ import annotations

import hashlib
from typing import cast

import numpy as np
import numpy.typing as npt

from edgewheel.edges.phase import Floats
from edgewheel.edges.table import Ticks

_Words = npt.NDArray[np.uint64]

_GAMMA = 0x9E37_79B9_7F4A_7C15
_MIX = ((30, 0xBF58_476D_1CE4_E5B9), (27, 0x94D0_49BB_1331_11EB), (31, 1))
_MANTISSA = 53


def key_of(seed: int, name: str) -> int:
    """The 64-bit key of a fault's draws, from the plan's seed and the fault's name.

    What follows a stroke in the name is left out: `worn` and `worn/2` draw alike, so that one
    fault can stand in a file for several stretches of time.
    """
    head = name.partition("/")[0]
    return int.from_bytes(hashlib.sha256(f"{seed}:{head}".encode()).digest()[:8], "little")


def uniform(key: int, counters: Ticks) -> Floats:
    """Numbers (n,) in [0, 1), one for each of `counters` (n,).

    Output `counter` of the generator SplitMix64 started at `key` (Steele, Lea and Flood, Fast
    Splittable Pseudorandom Number Generators, OOPSLA 2014).
    """
    words = _mixed(key, counters) >> np.uint64(64 - _MANTISSA)
    return words.astype(np.float64) / (1 << _MANTISSA)


def _mixed(key: int, counters: Ticks) -> _Words:
    words = counters.astype(np.uint64) * np.uint64(_GAMMA) + np.uint64((key + _GAMMA) % (1 << 64))
    for shift, factor in _MIX:
        words = (words ^ (words >> np.uint64(shift))) * np.uint64(factor)
    return cast(_Words, words)


def normal(key: int, counters: Ticks) -> Floats:
    """Standard normal numbers (n,), one for each counter (Box and Muller, 1958)."""
    first = 1 - uniform(key, 2 * counters)
    second = uniform(key, 2 * counters + 1)
    return cast(Floats, np.sqrt(-2 * np.log(first)) * np.cos(2 * np.pi * second))
