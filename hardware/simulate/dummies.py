"""The dummy signals: what range they give, at the controller's own sensor supply.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.spice import deck
from simulate.ngspice import run

# A controller: 5 V for sensors, 2.2k to 5 V at coolant, 100k to ground at the others.
CONTROLLER = (
    "V5 sensor_5v 0 5\nRg sensor_gnd 0 1m\nRc sensor_5v clt 2.2k\nRt tps 0 100k\nRm map 0 100k\n"
)


COOLANT = {"hot": "JP1", "warm": "JP2", "cold": "JP3"}


def kilohms(stage: Circuit, net: str, turned: float) -> float:
    """What a meter says from a signal to the sensor ground, nothing wired to the terminals."""
    meter = f"Rg sensor_gnd 0 1m\nIm 0 {net.lower()} 1m\n"
    return run(deck(stage, turned=turned) + meter, "op").last(f"v({net.lower()})")


def readings(stage: Circuit, turned: float, coolant: str = "warm") -> dict[str, float]:
    """Volts at the controller's inputs with both trimmers turned so far (0 to 1)."""
    found = run(deck(stage, (COOLANT[coolant],), turned=turned) + CONTROLLER, "op")
    return {net: found.last(f"v({net.lower()})") for net in ("CLT", "TPS", "MAP")}
