"""The controller's supply, switched and fused, so that a trial can cycle its power.

SPDX-License-Identifier: CERN-OHL-P-2.0

A transistor and not a relay: a search cycles the power thousands of times. Q5 limits the inrush of
a controller's capacitors. C1 keeps Q1 off while a live supply is plugged in, whose step would reach
the gate through Q1's own capacitances. R7 empties the controller's capacitors when the feed is off,
so that off is off.

A fuse ends a short only where the supply gives what melts it: one that limits its current falls to
some 5 V instead, at which Q1 just conducts and burns. So Q3 takes the drive away when the line is
not up for 40 ms, and keeps it away until ON has been low; meanwhile Q5 holds Q1's current to what
its die bears, from a battery, too. That is three times what F1 bears, so an overload that leaves
the line up melts F1 in a second or two, and Q1 bears it so long.
"""

from __future__ import annotations

from circuit.circuit import GROUND, Circuit
from circuit.parts import Role
from stages import catalogue as of


def feed() -> Circuit:
    c = Circuit("feed", "Switched, fused feed for the controller")
    c.port("ON", Role.OUTPUT, "from the board's pin; high switches the feed on")
    c.port("VIN", Role.SUPPLY, "from the supply, behind its protection")
    c.port("15", Role.WORLD, "to the controller's switched supply")
    c.port(GROUND, Role.SUPPLY, "star point")
    c.add("F1", of.fuse("3 A fast", 3), "VIN", "FUSED", why="as the controller's manual says")
    c.add("R2", of.resistor("0.068R", 2, of.SENSES), "FUSED", "SENSED", why="9 A drop 0.63 V here")
    c.add("Q5", of.PNP_SMALL, C="GATE", B="LIMIT", E="FUSED", why="limits Q1's current")
    c.add("R11", of.resistor("100R"), "SENSED", "LIMIT", why="spares Q5 while Q1 lets go")
    c.add("Q1", of.PFET, D="15", G="GATE", S="SENSED", why="switch")
    c.add("R1", of.resistor("47k"), "FUSED", "GATE", why="off unless driven")
    c.add("D1", of.ZENER_12, A="GATE", K="FUSED", why="bears what the gate does not")
    c.add("C1", of.ceramic("100n"), "FUSED", "GATE", why="off while the supply is plugged in")
    c.add("R3", of.resistor("22k"), "GATE", "PULL", why="pace of switching on")
    c.add("Q2", of.NPN_SMALL, C="PULL", B="BASE", E=GROUND, why="drives the gate")
    c.add("R4", of.resistor("4.7k"), "ON", "BASE", why="base current")
    c.add("R5", of.resistor("10k"), "BASE", GROUND, why="off while the board wakes")
    c.add("R8", of.resistor("18k"), "ON", "LATE", why="40 ms with C2")
    c.add("C2", of.electrolytic("10u", 25), "LATE", GROUND, why="gives the line time to rise")
    c.add("Q3", of.NPN_SMALL, C="BASE", B="LATE", E=GROUND, why="ends a short")
    c.add("Q4", of.NPN_SMALL, C="LATE", B="SEEN", E=GROUND, why="on while the line is up")
    c.add("R9", of.resistor("47k"), "15", "SEEN", why="up is above 9 V")
    c.add("R10", of.resistor("3.6k"), "SEEN", GROUND, why="up is above 9 V")
    c.add("D2", of.RECTIFIER, A=GROUND, K="15", why="inductive loads")
    c.add("R7", of.resistor("1k", 0.5), "15", GROUND, why="empties the controller's capacitors")
    c.add("R6", of.resistor("4.7k"), "15", "LIT", why="light")
    c.add("D3", of.LED_GREEN, A="LIT", K=GROUND, why="feed is on")
    return c
