"""The delays of the input, and what flows in and out of it when it is misused.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from circuit.circuit import Circuit
from circuit.parts import Part
from circuit.spice import deck
from simulate.bench import first_crossing
from simulate.ngspice import Waves, run

RAILS = "V3 p3v3 0 3.3\nV12 p12v 0 12\nRpin pin 0 50k\n"
_PULSE = "PULSE(0 {volts} 20u 20n 20n 40u 200u)"
_OPEN_COLLECTOR = "Vg command 0 PULSE(1 0 20u 20n 20n 40u 200u)\nBg line 0 I=V(line)*V(command)/5\n"
# By name: the controller's output (its line rises at 20 us, falls at 60 us), and jumpers.
SOURCES: dict[str, tuple[str, tuple[str, ...]]] = {
    "logic of 3.3 V": (f"Vs ext 0 {_PULSE.format(volts=3.3)}\nRs ext line 100\n", ()),
    "logic of 5 V": (f"Vs ext 0 {_PULSE.format(volts=5)}\nRs ext line 100\n", ()),
    "open collector, pull-up here": (_OPEN_COLLECTOR, ("JP1",)),
    "open collector, 4.7k to 14.5 V": (_OPEN_COLLECTOR + "Vb ext 0 14.5\nRb ext line 4.7k\n", ()),
    "low-side driver, spikes of 40 V": (
        f"Vs ext 0 {_PULSE.format(volts=40)}\nRs ext line 10\n",
        (),
    ),
}
THRESHOLD = 2.0
_RISE, _FALL = 20e-6, 60e-6


@dataclass(frozen=True)
class InputEdges:
    """Seconds from the line's going through 2 V until the pin follows."""

    rise: float
    fall: float


def waves(
    stage: Circuit,
    source: str,
    factor: Callable[[Part], float] = lambda part: 1.0,
    device_models: str | None = None,
    degrees: float = 25,
) -> Waves:
    """One pulse of a controller's output."""
    around, closed = SOURCES[source]
    lines = f"{deck(stage, closed, factor)}{RAILS}{around}.temp {degrees}\n"
    return run(lines, "tran 20n 80u 0 50n", "v(line) v(pin)", device_models)


def edges(waves: Waves) -> InputEdges:
    line, at_pin, time = waves["v(line)"], waves["v(pin)"], waves.time
    middle = 3.3 / 2
    up = first_crossing(time, line, THRESHOLD, True, _RISE - 1e-6)
    down = first_crossing(time, line, THRESHOLD, False, _FALL - 1e-6)
    return InputEdges(
        first_crossing(time, at_pin, middle, True, _RISE - 1e-6) - up,
        first_crossing(time, at_pin, middle, False, _FALL - 1e-6) - down,
    )


def misuse(volts: float) -> str:
    """The surroundings with the line on a stiff source; the logic supply is on."""
    return f"{RAILS}Vx line 0 {volts}\n"


def unpowered(stage: Circuit, volts: float) -> float:
    """Amperes that flow into the dead logic supply from a live line."""
    around = f"Vx line 0 {volts}\nV3 p3v3 0 0\nV12 p12v 0 0\nRpin pin 0 50k\n"
    return run(deck(stage) + around, "op").last("i(v3)")


def threshold(stage: Circuit) -> tuple[float, float]:
    """Volts at which the pin goes high as the line rises slowly, and low as it falls."""
    ramp = "Vx line 0 PWL(0 0 10m 5 20m 0)\n"
    found = run(deck(stage) + RAILS + ramp, "tran 10u 20m 0 10u", "v(line) v(pin)")
    up = first_crossing(found.time, found["v(pin)"], 1.65, True, 0)
    down = first_crossing(found.time, found["v(pin)"], 1.65, False, 10e-3)
    return found.at("v(line)", up), found.at("v(line)", down)
