"""The Hall output on paper.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.sheet import Sheet


def draw_hall(stage: Circuit) -> Sheet:
    s = Sheet(stage)
    _switch(s)
    _pull_up(s)
    return s


def _switch(s: Sheet) -> None:
    s.tag("DRIVE", (0, 0))
    s.wire((0, 0), (0.8, 0))
    s.two("R1", (0.8, 0), (2.8, 0), "below")
    s.wire((0.8, 0), (0.8, 1.2))
    s.two("C1", (0.8, 1.2), (2.8, 1.2))
    s.wire((2.8, 1.2), (2.8, 0))
    s.bipolar("Q1", (7.6, 0))
    s.wire((2.8, 0), "Q1.B")
    s.two("R2", (3.5, 0), (3.5, -2), "left")
    s.wire((3.5, -2), (3.5, -4.4))
    s.tag("GND", (3.5, -4.4), "down")
    right, low = s.at("Q1.E")[0], -2.2
    s.wire("Q1.E", (right, low))
    s.bipolar("Q2", (right - 1.4, low), faces="left", text="left")
    s.wire((right, low), "Q2.B")
    s.wire("Q2.C", (s.at("Q2.C")[0], 0))
    s.wire("Q2.E", (s.at("Q2.E")[0], -4.4))
    s.tag("GND", (s.at("Q2.E")[0], -4.4), "down")
    s.two("R3", (right, low), (right, low - 2.2))
    s.tag("GND", (right, low - 2.2), "down")


def _pull_up(s: Sheet) -> None:
    x = s.at("Q1.C")[0]
    s.wire("Q1.C", (x, 1.6), (11.4, 1.6))
    s.two("D1", (11.4, -0.6), (11.4, 1.6))
    s.wire((11.4, -0.6), (11.4, -4.4))
    s.tag("GND", (11.4, -4.4), "down")
    s.two("F1", (11.4, 1.6), (13.6, 1.6))
    s.wire((13.6, 1.6), (14.4, 1.6))
    s.tag("OUT", (14.4, 1.6), "right", "to the controller")
    s.two("D2", (x, 3.6), (x, 1.6), "left")
    s.wire((x - 1.2, 3.6), (x + 1.2, 3.6))
    s.two("R4", (x - 1.2, 5.6), (x - 1.2, 3.6), "left")
    s.two("R5", (x + 1.2, 5.6), (x + 1.2, 3.6))
    s.selector("JP1", (1.2, 8.6))
    for rail in ("5V", "8V", "12V"):
        s.tag(f"+{rail}", f"JP1.{rail}")
    s.two("JP2", (x - 1.2, 7.6), (x - 1.2, 5.6), "left")
    s.two("JP3", (x + 1.2, 7.6), (x + 1.2, 5.6))
    s.wire((x + 1.2, 7.6), "JP1.middle")
