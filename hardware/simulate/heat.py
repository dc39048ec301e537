"""How hot a transistor's junction becomes in a pulse.

SPDX-License-Identifier: CERN-OHL-P-2.0

Foster's ladder, each of its rungs a thermal resistance and a time constant that add up; rounded
for a class of package, from memory.
"""

from __future__ import annotations

import numpy as np

from simulate.ngspice import Array

# Kelvin a watt and seconds: die, solder and tab of a power MOSFET in a TO-220, then its air.
TO220_POWER = ((0.05, 0.2e-3), (0.2, 2e-3), (0.4, 20e-3), (0.25, 0.2), (60, 100))


def rise(time: Array, watts: Array, ladder: tuple[tuple[float, float], ...]) -> Array:
    """Kelvin above the air at each time (n,), of watts (n,) held until the next time."""
    total = np.zeros_like(time)
    for ohms, constant in ladder:
        kelvin = 0.0
        for n, seconds in enumerate(np.diff(time)):
            kept = np.exp(-seconds / constant)
            kelvin = kelvin * kept + ohms * watts[n] * (1 - kept)
            total[n + 1] += kelvin
    return total
