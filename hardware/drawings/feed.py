"""The controller's feed on paper.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.sheet import Sheet

_LOW = -5.6
_UP, _LATE, _SEEN = 16.8, -7.4, -9.4


def draw_feed(stage: Circuit) -> Sheet:
    s = Sheet(stage)
    _line(s)
    _gate(s)
    _short(s)
    _load(s)
    return s


def _line(s: Sheet) -> None:
    s.tag("VIN", (0, 0))
    s.two("F1", (0, 0), (2, 0))
    s.wire((2, 0), (10.6, 0))
    s.two("R2", (10.6, 0), (12.6, 0))
    s.pfet("Q1", (13.4, 0), "right")
    s.wire((12.6, 0), "Q1.S")
    s.bipolar("Q5", (10.352, -1), "left", "left")
    s.wire("Q5.E", (9.6, 0))
    s.wire("Q5.C", (9.6, -2))
    s.wire("Q5.B", (10.6, -1))
    s.two("R11", (12.6, -1), (10.6, -1), "below")
    s.wire((12.6, -1), (13, -1), (13, 0))
    s.wire("Q1.D", (22.6, 0))
    s.tag("15", (22.6, 0), "right", "to the controller")


def _gate(s: Sheet) -> None:
    gate = s.at("Q1.G")
    s.wire("Q1.G", (gate[0], -2))
    s.two("R1", (2, 0), (2, -2), "left")
    s.two("C1", (3.7, 0), (3.7, -2), "left")
    s.two("D1", (4.7, -2), (4.7, 0))
    s.wire((2, -2), (gate[0], -2))
    s.two("R3", (gate[0], -2), (gate[0], -3.8))
    s.bipolar("Q2", (gate[0] - 0.752, -4.6))
    s.wire((gate[0], -3.8), "Q2.C")
    s.wire("Q2.E", (gate[0], _LOW))
    s.tag("GND", (gate[0], _LOW), "down")
    s.tag("ON", (0, -4.6), text="from the pin")
    s.wire((0, -4.6), (2.8, -4.6))
    s.two("R4", (2.8, -4.6), (4.8, -4.6))
    s.wire((4.8, -4.6), "Q2.B")
    s.two("R5", (6, -4.6), (6, -6.2))
    s.tag("GND", (6, -6.2), "down")


def _short(s: Sheet) -> None:
    """What takes the drive away when the line does not come up."""
    s.wire((1.4, -4.6), (1.4, _LATE), (2.8, _LATE))
    s.two("R8", (2.8, _LATE), (4.8, _LATE))
    s.two("C2", (5.4, _LATE), (5.4, _LATE - 2), "left")
    s.tag("GND", (5.4, _LATE - 2), "down")
    s.bipolar("Q3", (9.848, _LATE))
    s.wire((4.8, _LATE), "Q3.B")
    s.wire("Q3.C", (10.6, -4.6))
    s.tag("GND", "Q3.E", "down")
    s.bipolar("Q4", (9.352, _SEEN), "left", "left")
    s.wire("Q4.C", (8.6, _LATE))
    s.tag("GND", "Q4.E", "down")
    s.wire("Q4.B", (14, _SEEN))
    s.two("R10", (12.4, _SEEN), (12.4, _SEEN - 1.8))
    s.tag("GND", (12.4, _SEEN - 1.8), "down")
    s.two("R9", (16, _SEEN), (14, _SEEN))
    s.wire((16, _SEEN), (_UP, _SEEN), (_UP, 0))


def _load(s: Sheet) -> None:
    s.two("R7", (18, 0), (18, -2))
    s.wire((18, -2), (18, _LOW))
    s.tag("GND", (18, _LOW), "down")
    s.two("R6", (20.4, 0), (20.4, -2))
    s.two("D3", (20.4, -2), (20.4, -4))
    s.wire((20.4, -4), (20.4, _LOW))
    s.tag("GND", (20.4, _LOW), "down")
    s.two("D2", (22.6, -2), (22.6, 0))
    s.wire((22.6, -2), (22.6, _LOW))
    s.tag("GND", (22.6, _LOW), "down")
