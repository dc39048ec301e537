"""A VR sensor's output: a pulse-width pair becomes a bipolar voltage, grounded and floating.

SPDX-License-Identifier: CERN-OHL-P-2.0

Two pins carry the upper and the lower byte of a 16-bit code as pulse widths; 10k and 2.55M weigh
them 255 to 1. R9 holds the amplifier's input while the RP2040 board is dead or away: floating, it
would take up hum, and 50 Hz at a controller's input are the teeth of an engine. A Sallen-Key filter
of 50 kHz takes the carrier out. C3 takes the mean out before the gain: only U2's offset reaches the
transformer, and the corner of 0.7 Hz does not move with the load. C3 is a film, as what leaks
through it comes out times R5: an electrolytic's 3 uA would be a volt. At full scale U2 swings by
11.5 V, with R1, R2, R4 and R5 of 1 % by less than the 12 V that its class promises into 10k. Its
offset comes out as it is, so it must be small: at 50 rpm the peak is 50 mV. The amplitude grows
with speed because the codes do: 200 to 1 of range is left at 50 rpm. The stage inverts: a higher
code is a lower voltage at VR and at VR+ against VR-.
"""

from __future__ import annotations

from circuit.circuit import GROUND, Circuit
from circuit.parts import Role
from stages import catalogue as of


def reluctor(unit: int = 0) -> Circuit:
    """One channel; the board has two, crank and cam."""
    c = Circuit("vr", "VR output, crank or cam: VR against ground, VR+ and VR- floating")
    _ports(c)
    c.add("R1", of.R_10K, "UPPER", "MIX", why="upper byte")
    c.add("R2", of.R_2M55, "LOWER", "MIX", why="lower byte, 255 times weaker")
    c.add("R9", of.resistor("100k"), "MIX", GROUND, why="holds the input without a board")
    c.add("R3", of.resistor("10k"), "MIX", "SMOOTH", why="filter")
    c.add("C1", of.ceramic("390p"), "MIX", "MEAN", why="filter, C0G")
    c.add("C2", of.ceramic("270p"), "SMOOTH", GROUND, why="filter, C0G")
    buffer = {"in+": "SMOOTH", "in-": "MEAN", "V+": "+5V", "V-": GROUND, "out": "MEAN"}
    c.add("U1", of.OP_AMP_5V, why="filter", unit=unit, shared="U92", on=buffer)
    c.add("C3", of.film("4.7u"), "MEAN", "AC", why="takes the mean out")
    c.add("R4", of.R_47K5, "AC", "SUM", why="gain 7.68 with R5")
    c.add("R5", of.R_365K, "SUM", "DRIVE", why="gain")
    c.add("C4", of.ceramic("5.6p"), "SUM", "DRIVE", why="keeps the gain quiet above 75 kHz")
    gain = {"in+": GROUND, "in-": "SUM", "V+": "+15V", "V-": "-15V", "out": "DRIVE"}
    c.add("U2", of.OP_AMP_15V, why="gain", unit=unit, shared="U93", on=gain)
    c.add("R6", of.resistor("1k", 0.5), "DRIVE", "VR", why="as a coil has; limits shorts")
    c.add("D1", of.CLAMP_TWO_WAY, "VR", GROUND, why="surges, static")
    c.add(
        "R7",
        of.resistor("22R"),
        "DRIVE",
        "PRIMARY",
        why="keeps U2 calm; sets the low corner with T1",
    )
    c.add("T1", of.TRANSFORMER, P1="PRIMARY", P2=GROUND, S1="COIL", S2="VR-", why="floats")
    c.add("R8", of.resistor("1k", 0.5), "COIL", "VR+", why="as a coil has; limits shorts")
    c.add("D2", of.CLAMP_TWO_WAY, "VR+", "VR-", why="surges, static")
    return c


def _ports(c: Circuit) -> None:
    c.port("UPPER", Role.OUTPUT, "pulse width: upper byte of the code")
    c.port("LOWER", Role.OUTPUT, "pulse width: lower byte of the code")
    c.port("VR", Role.WORLD, "to a grounded VR input")
    c.port("VR+", Role.WORLD, "to a differential VR input")
    c.port("VR-", Role.WORLD, "to a differential VR input, or its ground")
    c.port("+5V", Role.SUPPLY, "for the filter")
    c.port("+15V", Role.SUPPLY, "for the gain")
    c.port("-15V", Role.SUPPLY, "for the gain")
    c.port(GROUND, Role.SUPPLY, "star point")
