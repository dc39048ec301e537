"""The VR output on paper.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.sheet import Sheet

_LOW = -3.4


def draw_reluctor(stage: Circuit) -> Sheet:
    s = Sheet(stage)
    _filter(s)
    _gain(s)
    _outputs(s)
    return s


def _filter(s: Sheet) -> None:
    s.tag("UPPER", (0, 0))
    s.two("R1", (0, 0), (2.2, 0))
    s.tag("LOWER", (0, -1.6))
    s.two("R2", (0, -1.6), (2.2, -1.6))
    s.wire((2.2, -1.6), (2.2, 0), (2.8, 0))
    s.two("R9", (2.2, -1.6), (2.2, _LOW), "left")
    s.tag("GND", (2.2, _LOW), "down")
    s.two("R3", (2.8, 0), (4.8, 0), "below")
    s.op_amp("U1", (7.4, -0.625), plus="above")
    s.wire((4.8, 0), "U1.in+")
    s.two("C2", (5.4, 0), (5.4, -2), "left")
    s.wire((5.4, -2), (5.4, _LOW))
    s.tag("GND", (5.4, _LOW), "down")
    out, minus = s.at("U1.out"), s.at("U1.in-")
    s.wire("U1.in-", (minus[0], -2.2), (out[0] + 0.5, -2.2), (out[0] + 0.5, out[1]))
    s.wire("U1.out", (out[0] + 0.5, out[1]), (out[0] + 0.5, 2.4))
    s.wire((2.8, 0), (2.8, 2.4))
    s.two("C1", (2.8, 2.4), (4.8, 2.4))
    s.wire((4.8, 2.4), (out[0] + 0.5, 2.4))
    s.tag("+5V", "U1.V+", "up")
    s.tag("GND", "U1.V-", "down")


def _gain(s: Sheet) -> None:
    start = s.at("U1.out")
    x, y = start[0] + 0.5, start[1]
    s.wire((x, y), (x + 0.5, y))
    s.two("C3", (x + 0.5, y), (x + 2.3, y), "below")
    s.two("R4", (x + 2.3, y), (x + 4, y))
    s.op_amp("U2", (x + 6.8, y - 0.625), plus="below")
    s.wire((x + 4, y), "U2.in-")
    plus, out = s.at("U2.in+"), s.at("U2.out")
    s.wire("U2.in+", (plus[0], _LOW))
    s.tag("GND", (plus[0], _LOW), "down")
    s.tag("+15V", "U2.V+", "up")
    s.tag("-15V", "U2.V-", "down")
    left, right = x + 4.4, out[0] + 0.4
    middle = (left + right) / 2
    for ref, level in (("R5", 2.4), ("C4", 3.6)):
        s.wire((left, level), (middle - 1, level))
        s.two(ref, (middle - 1, level), (middle + 1, level))
        s.wire((middle + 1, level), (right, level))
    s.wire((left, y), (left, 3.6))
    s.wire("U2.out", (right, out[1]), (right, 3.6))


def _outputs(s: Sheet) -> None:
    out = s.at("U2.out")
    x = out[0] + 1.0
    s.wire((out[0] + 0.4, out[1]), (x, out[1]))
    s.wire((x, 2.0), (x, -3.0))
    s.two("R6", (x, 2.0), (x + 2.2, 2.0))
    s.wire((x + 2.2, 2.0), (x + 7.2, 2.0))
    s.two("D1", (x + 4.6, 2.0), (x + 4.6, 0))
    s.tag("GND", (x + 4.6, 0), "down")
    s.tag("VR", (x + 7.2, 2.0), "right", "grounded")
    s.two("R7", (x, -3.0), (x + 2.0, -3.0))
    s.transformer("T1", (x + 3.2, -4.6))
    s.wire((x + 2.0, -3.0), "T1.P1")
    low = s.at("T1.P2")
    s.wire("T1.P2", (low[0], -5.2))
    s.tag("GND", (low[0], -5.2), "down")
    top, bottom = s.at("T1.S1"), s.at("T1.S2")
    s.two("R8", top, (top[0] + 2.0, top[1]), "below")
    s.wire((top[0] + 2.0, top[1]), (x + 9.8, top[1]))
    s.wire("T1.S2", (x + 9.8, bottom[1]))
    s.two("D2", (x + 7, top[1]), (x + 7, bottom[1]))
    s.tag("VR+", (x + 9.8, top[1]), "right", "floating")
    s.tag("VR-", (x + 9.8, bottom[1]), "right", "floating")
