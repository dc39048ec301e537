"""The edges and the faults of the Hall output, simulated.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from circuit.circuit import Circuit
from circuit.parts import Part
from circuit.spice import deck
from simulate.bench import RAILS, cable, first_crossing
from simulate.ngspice import Waves, run
from stages.hall import PULL_UP_JUMPERS, RAIL_JUMPERS

LOADS = {
    "1 nF": "Cl out 0 1n\nRl out 0 100k\n",
    "5 m of cable": cable("out", "far") + "Rl far 0 100k\n",
    "5 m of cable and 1 nF": cable("out", "far") + "Cl far 0 1n\nRl far 0 100k\n",
}
USUAL_LOAD = "5 m of cable and 1 nF"
_RISE, _FALL, _LENGTH = 5e-6, 65e-6, 125e-6


@dataclass(frozen=True)
class HallEdges:
    """Seconds from the pin's edge to half of the swing at the end of the cable; volts."""

    rise: float
    fall: float
    low: float
    high: float
    undershoot: float

    @property
    def skew(self) -> float:
        return self.rise - self.fall


def pin(volts: float = 3.3) -> str:
    """A pin that goes high at 5 us and low at 65 us; 30 ohm."""
    return f"Vpin pin 0 PULSE(0 {volts} 5u 5n 5n 60u 300u)\nRpin pin drive 30\n"


def waves(
    stage: Circuit,
    rail: int,
    pull_up: int,
    load: str = USUAL_LOAD,
    pin_volts: float = 3.3,
    factor: Callable[[Part], float] = lambda part: 1.0,
    device_models: str | None = None,
    degrees: float = 25,
) -> Waves:
    """One pulse: the pin high from 5 to 65 us, so the line low and then high again."""
    lines = deck(stage, (RAIL_JUMPERS[rail], PULL_UP_JUMPERS[pull_up]), factor)
    around = f"{pin(pin_volts)}{RAILS}{LOADS[load]}.temp {degrees}\n"
    end = "far" if "cable" in load else "out"
    return run(
        lines + around, "tran 50n 125u 0 200n", f"v(pin) v(drive) v({end}) v(out)", device_models
    )


def edges(waves: Waves) -> HallEdges:
    """Delays, levels and undershoot of a pulse."""
    line = waves["v(far)"] if "v(far)" in waves.vectors else waves["v(out)"]
    high = float(line[0])
    low = float(line[(waves.time > 50e-6) & (waves.time < 60e-6)].mean())
    half = (high + low) / 2
    fall = first_crossing(waves.time, line, half, False, _RISE) - _RISE
    rise = first_crossing(waves.time, line, half, True, _FALL) - _FALL
    return HallEdges(rise, fall, low, high, float(line.min()))


def fault(volts: float, pin_volts: float = 3.3) -> str:
    """The surroundings with the terminal tied to a stiff source from 1 ms on, the pin high."""
    return (
        f"Vpin pin 0 {pin_volts}\nRpin pin drive 30\n{RAILS}"
        f"Vf tied 0 PWL(0 0 1m 0 1.1m {volts})\nRf tied out 0.1\n"
    )
