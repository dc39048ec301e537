"""The supply: fuse, surges, reversal, the rails, and the one point where the grounds meet.

SPDX-License-Identifier: CERN-OHL-P-2.0

Q1 lies in the plus line the wrong way round: its own diode starts it, its channel then carries the
current; reversed, it blocks. D1 stands before it and clamps both ways, so a negative surge does not
break Q1 and a reversed supply blows nothing. Q1 cannot keep C1 from flowing back through a short
negative surge, as it stays on until its gate follows: D4 does.
"""

from __future__ import annotations

from circuit.circuit import GROUND, Circuit
from circuit.parts import Role
from stages import catalogue as of


def supply() -> Circuit:
    c = Circuit("supply", "Supply: fuse, surge and reversal protection, rails, star point")
    c.port("30", Role.SUPPLY, "plus of the bench supply, 12 to 14.5 V, limited")
    c.port("31", Role.SUPPLY, "minus of the bench supply")
    c.port("VIN", Role.WORLD, "to the feed, behind fuse and protection")
    for rail in ("+12V", "+8V", "+5V", "+15V", "-15V"):
        c.port(rail, Role.PASSIVE, "rail")
    c.port(GROUND, Role.PASSIVE, "star point")
    _entrance(c)
    c.add("F2", of.PTC_500, "VIN", "SHARE", why="the board's own share")
    c.add("D4", of.POWER_SCHOTTKY, A="SHARE", K="+12V", why="keeps C1 through a negative surge")
    c.add(
        "C1",
        of.electrolytic("470u", 35, "radial can 13 mm", of.RESERVES),
        "+12V",
        GROUND,
        why="reserve",
    )
    c.add("C2", of.ceramic("100n"), "+12V", GROUND, why="bypass")
    c.add("U1", of.regulator(8), "+12V", GROUND, "+8V", why="8 V for pull-ups")
    c.add("C3", of.electrolytic("10u", 25), "+8V", GROUND, why="reserve")
    c.add("C4", of.ceramic("100n"), "+8V", GROUND, why="bypass")
    c.add("U2", of.regulator(5), "+12V", GROUND, "+5V", why="5 V for pull-ups and filters")
    c.add("C5", of.electrolytic("10u", 25), "+5V", GROUND, why="reserve")
    c.add("C6", of.ceramic("100n"), "+5V", GROUND, why="bypass, beside U92")
    sides = {"in+": "+12V", "in-": GROUND, "+15": "+15V", "0": GROUND, "-15": "-15V"}
    c.add("U3", of.CONVERTER, why="for the VR outputs", on=sides)
    c.add("C7", of.electrolytic("10u", 25), "+15V", GROUND, why="reserve")
    c.add("C8", of.electrolytic("10u", 25), GROUND, "-15V", why="reserve; plus to ground")
    c.add("C9", of.ceramic("100n"), "+15V", GROUND, why="bypass, beside U93")
    c.add("C10", of.ceramic("100n"), "-15V", GROUND, why="bypass, beside U93")
    c.add("R2", of.resistor("4.7k"), "+12V", "LIT", why="light")
    c.add("D3", of.LED_GREEN, A="LIT", K=GROUND, why="supply is there")
    c.add("W1", of.LINK, "31", GROUND, why="star point: the only place where grounds meet")
    return c


def _entrance(c: Circuit) -> None:
    c.add("F1", of.fuse("5 A fast", 5), "30", "FUSED", why="all of it")
    c.add("D1", of.CLAMP_SUPPLY, "FUSED", "31", why="surges of both signs")
    c.add("Q1", of.PFET, D="FUSED", G="GATE", S="VIN", why="blocks a reversed supply")
    c.add("R1", of.resistor("10k"), "GATE", "31", why="turns Q1 on")
    c.add("D2", of.ZENER_12, A="GATE", K="VIN", why="bears what the gate does not")
