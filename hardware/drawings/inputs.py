"""The input on paper.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.sheet import Sheet

_LOW = -4.0


def draw_inputs(stage: Circuit) -> Sheet:
    s = Sheet(stage)
    _pull_up(s)
    _threshold(s)
    _gate(s)
    return s


def _pull_up(s: Sheet) -> None:
    s.tag("LINE", (0, 0), text="from the controller")
    s.wire((0, 0), (2.4, 0))
    s.two("JP1", (1.2, 6.6), (1.2, 4.6))
    s.two("R5", (1.2, 4.6), (1.2, 2.6))
    s.two("D3", (1.2, 2.6), (1.2, 0.6))
    s.wire((1.2, 0.6), (1.2, 0))
    s.tag("+12V", (1.2, 6.6), "up")


def _threshold(s: Sheet) -> None:
    s.two("R1", (2.4, 0), (4.4, 0))
    s.bipolar("Q1", (11.2, 0))
    s.wire((4.4, 0), "Q1.B")
    for ref, x in (("R2", 5), ("C1", 6.8)):
        s.two(ref, (x, 0), (x, -2))
        s.wire((x, -2), (x, _LOW))
        s.tag("GND", (x, _LOW), "down")
    s.two("D1", (8.4, -2), (8.4, 0))
    s.wire((8.4, -2), (8.4, _LOW))
    s.tag("GND", (8.4, _LOW), "down")
    x = s.at("Q1.E")[0]
    s.wire("Q1.E", (x, _LOW))
    s.tag("GND", (x, _LOW), "down")
    s.wire("Q1.C", (x, 1.8))
    s.wire((8.4, 0), (8.4, 1.8))
    s.two("D2", (8.4, 1.8), (10.8, 1.8))
    s.wire((10.8, 1.8), (x, 1.8))
    s.two("R3", (x, 4.2), (x, 2.2))
    s.wire((x, 2.2), (x, 1.8))
    s.tag("+3V3", (x, 4.2), "up")


def _gate(s: Sheet) -> None:
    x = s.at("Q1.C")[0]
    s.gate("U1", (x + 2.6, 1.8))
    s.wire((x, 1.8), "U1.in")
    s.tag("+3V3", "U1.VCC", "up")
    s.tag("GND", "U1.GND", "down")
    out = s.at("U1.out")
    s.two("R4", out, (out[0] + 2, out[1]))
    s.tag("PIN", (out[0] + 2, out[1]), "right", "to the board's pin")
