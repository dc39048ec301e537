"""An input for what a controller puts out: ignition and injection commands, tacho, any level.

SPDX-License-Identifier: CERN-OHL-P-2.0

22k in front of a transistor's base bear 40 V for as long as one likes; nothing flows into the
logic supply, powered or not. D2 keeps Q1 out of saturation, so that it lets go at once. The
threshold is about 2.2 V. Transistor and gate invert, so the pin shows the line's own level.
"""

from __future__ import annotations

from circuit.circuit import GROUND, Circuit
from circuit.parts import Role
from stages import catalogue as of


def controller_input(unit: int = 0) -> Circuit:
    """One channel; the board has six, on the six gates of one package."""
    c = Circuit("input", "Input from a controller's output, one of six channels")
    c.port("LINE", Role.WORLD, "from the controller: 3.3 V logic to 40 V spikes; never a coil")
    c.port("PIN", Role.INPUT, "to the board's pin")
    c.port("+3V3", Role.SUPPLY, "from the board's regulator")
    c.port("+12V", Role.SUPPLY, "for the pull-up")
    c.port(GROUND, Role.SUPPLY, "star point")
    c.add("R1", of.resistor("22k", 0.5), "LINE", "BASE", why="bears the spikes")
    c.add("R2", of.resistor("10k"), "BASE", GROUND, why="sets the threshold")
    c.add("C1", of.ceramic("47p"), "BASE", GROUND, why="takes out what is shorter than 0.2 us")
    c.add("D1", of.SIGNAL_DIODE, A=GROUND, K="BASE", why="bears reversal")
    c.add("Q1", of.NPN_SMALL, C="SWITCH", B="BASE", E=GROUND, why="threshold")
    c.add("D2", of.SCHOTTKY, A="BASE", K="SWITCH", why="keeps Q1 out of saturation")
    c.add("R3", of.resistor("2.2k"), "+3V3", "SWITCH", why="Q1's load")
    gate = {"in": "SWITCH", "out": "GATE", "VCC": "+3V3", "GND": GROUND}
    c.add("U1", of.INVERTER, why="a clean edge", unit=unit, shared="U91", on=gate)
    c.add("R4", of.resistor("1k"), "GATE", "PIN", why="in case the pin is ever an output")
    c.add("JP1", of.JUMPER, "+12V", "PULL", why="pull-up in, for a bare open collector")
    c.add("R5", of.resistor("2.2k", 0.5), "PULL", "PULLED", why="pull-up")
    c.add("D3", of.SIGNAL_DIODE, A="PULLED", K="LINE", why="spikes stay out of the 12 V rail")
    return c
