"""The controller's supply, switched and fused, so that a trial can cycle its power.

SPDX-License-Identifier: CERN-OHL-P-2.0

A transistor and not a relay: a search cycles the power thousands of times. C1 makes the rise a
ramp of some 2 ms, which keeps the inrush of a controller's capacitors within the fuse. C2, ten
times as large, keeps Q1 off while a live supply is plugged in: C1 alone would hold the gate down
for milliseconds. R7 empties the controller's capacitors when the feed is off, so that off is off.
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
    c.add("Q1", of.PFET, D="15", G="GATE", S="FUSED", why="switch")
    c.add("R1", of.resistor("47k"), "FUSED", "GATE", why="off unless driven")
    c.add("D1", of.ZENER_12, A="GATE", K="FUSED", why="bears what the gate does not")
    c.add("C1", of.film("47n"), "15", "SLOW", why="makes the rise a ramp")
    c.add("C2", of.film("470n"), "FUSED", "GATE", why="off while the supply is plugged in")
    c.add("R2", of.resistor("100R"), "SLOW", "GATE", why="keeps Q1 from ringing")
    c.add("R3", of.resistor("22k"), "GATE", "PULL", why="pace of the ramp")
    c.add("Q2", of.NPN_SMALL, C="PULL", B="BASE", E=GROUND, why="drives the gate")
    c.add("R4", of.resistor("4.7k"), "ON", "BASE", why="base current")
    c.add("R5", of.resistor("10k"), "BASE", GROUND, why="off while the board wakes")
    c.add("D2", of.RECTIFIER, A=GROUND, K="15", why="inductive loads")
    c.add("R7", of.resistor("1k", 0.5), "15", GROUND, why="empties the controller's capacitors")
    c.add("R6", of.resistor("4.7k"), "15", "LIT", why="light")
    c.add("D3", of.LED_GREEN, A="LIT", K=GROUND, why="feed is on")
    return c
