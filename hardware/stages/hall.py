"""A Hall sensor's output: an open collector that limits its own current, with a pull-up.

SPDX-License-Identifier: CERN-OHL-P-2.0

Q2 takes Q1's base current away once 30 mA flow through R3: a short to the supply heats Q1 by
less than it bears, for as long as one likes, and the edge stays soft enough not to ring on a
cable. The pin high pulls the line low. The rails' pins stand around the middle one of JP1, so that
a second cap finds no place: two rails joined would put 12 V on what bears 5.
"""

from __future__ import annotations

from circuit.circuit import GROUND, Circuit
from circuit.parts import Role
from stages import catalogue as of

RAIL_JUMPERS = {5: "JP1.5V", 8: "JP1.8V", 12: "JP1.12V"}
PULL_UP_JUMPERS = {1000: "JP2", 4700: "JP3"}


def hall() -> Circuit:
    """One channel; the board has six."""
    c = Circuit("hall", "Hall output, one of six channels")
    c.port("DRIVE", Role.OUTPUT, "from the board's pin")
    c.port("OUT", Role.WORLD, "to the controller's crank or cam input")
    c.port(GROUND, Role.SUPPLY, "star point")
    for rail in RAIL_JUMPERS:
        c.port(f"+{rail}V", Role.SUPPLY, f"{rail} V for pull-ups")
    c.add("R1", of.resistor("2.2k"), "DRIVE", "BASE", why="base current")
    c.add("C1", of.ceramic("47p"), "DRIVE", "BASE", why="takes the charge out of Q1 at a fall")
    c.add("R2", of.resistor("10k"), "BASE", GROUND, why="off while the board wakes")
    c.add("Q1", of.NPN_SWITCH, C="LINE", B="BASE", E="SENSE", why="switch")
    c.add("R3", of.resistor("22R"), "SENSE", GROUND, why="30 mA drop 0.65 V here")
    c.add("Q2", of.NPN_SMALL, C="BASE", B="SENSE", E=GROUND, why="limits Q1's current")
    c.add("D1", of.CLAMP_ONE_WAY, A=GROUND, K="LINE", why="surges, reversal, static")
    c.add("F1", of.PTC_100, "LINE", "OUT", why="ends what the clamp must carry")
    c.add("R4", of.resistor("1k", 0.5), "STRONG", "PULL", why="strong pull-up")
    c.add("R5", of.resistor("4.7k"), "WEAK", "PULL", why="weak pull-up")
    c.add("D2", of.SCHOTTKY, A="PULL", K="LINE", why="nothing flows back into the rail")
    c.add("JP1", of.SELECTOR, "+5V", "+8V", "+12V", "RAIL", why="the pull-up's rail")
    c.add("JP2", of.JUMPER, "RAIL", "STRONG", why="1k pull-up in")
    c.add("JP3", of.JUMPER, "RAIL", "WEAK", why="4.7k pull-up in")
    return c
