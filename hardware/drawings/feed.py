"""The controller's feed on paper.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.sheet import Sheet

_LOW = -5.6


def draw_feed(stage: Circuit) -> Sheet:
    s = Sheet(stage)
    _line(s)
    _gate(s)
    _load(s)
    return s


def _line(s: Sheet) -> None:
    s.tag("VIN", (0, 0))
    s.two("F1", (0, 0), (2, 0))
    s.pfet("Q1", (8.4, 0), "right")
    s.wire((2, 0), "Q1.S")
    drain = s.at("Q1.D")
    s.wire("Q1.D", (18.2, 0))
    s.tag("15", (18.2, 0), "right", "to the controller")
    gate = s.at("Q1.G")
    s.two("C1", (drain[0] + 2.4, 0), (drain[0] + 2.4, -2), "left")
    s.two("R2", (drain[0] + 2.4, -2), (drain[0] + 0.4, -2), "below")
    s.wire((drain[0] + 0.4, -2), (gate[0], -2))


def _gate(s: Sheet) -> None:
    gate = s.at("Q1.G")
    s.wire("Q1.G", (gate[0], -2))
    s.two("R1", (2.8, 0), (2.8, -2))
    s.two("D1", (6.5, -2), (6.5, 0))
    s.two("C2", (4.6, 0), (4.6, -2))
    s.wire((2.8, -2), (gate[0], -2))
    s.two("R3", (gate[0], -2), (gate[0], -3.8))
    s.npn("Q2", (gate[0] - 0.752, -4.6))
    s.wire((gate[0], -3.8), "Q2.C")
    s.wire("Q2.E", (gate[0], _LOW))
    s.tag("GND", (gate[0], _LOW), "down")
    s.tag("ON", (0, -4.6), text="from the pin")
    s.two("R4", (0.4, -4.6), (2.4, -4.6))
    s.wire((0, -4.6), (0.4, -4.6))
    s.wire((2.4, -4.6), "Q2.B")
    s.two("R5", (4, -4.6), (4, -6.4))
    s.tag("GND", (4, -6.4), "down")


def _load(s: Sheet) -> None:
    for ref, x, ends in (("R7", 13.6, (0, -2)), ("R6", 16, (0, -2))):
        s.two(ref, (x, ends[0]), (x, ends[1]))
    s.wire((13.6, -2), (13.6, _LOW))
    s.tag("GND", (13.6, _LOW), "down")
    s.two("D3", (16, -2), (16, -4))
    s.wire((16, -4), (16, _LOW))
    s.tag("GND", (16, _LOW), "down")
    s.two("D2", (18.2, -2), (18.2, 0))
    s.wire((18.2, -2), (18.2, _LOW))
    s.tag("GND", (18.2, _LOW), "down")
