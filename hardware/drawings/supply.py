"""The supply on paper.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.sheet import Sheet

_LOW = -5.0


def draw_supply(stage: Circuit) -> Sheet:
    s = Sheet(stage)
    _entrance(s)
    _share(s)
    _regulators(s)
    _converter(s)
    return s


def _entrance(s: Sheet) -> None:
    s.tag("30", (0, 0), text="plus")
    s.two("F1", (0, 0), (2, 0))
    s.wire((2, 0), (4.4, 0))
    s.two("D1", (3, 0), (3, -2), "left")
    s.pfet("Q1", (6.067, 0), "left")
    s.wire("Q1.S", (10.6, 0))
    gate = s.at("Q1.G")
    s.wire("Q1.G", (gate[0], -2))
    s.two("R1", (gate[0], -2), (gate[0], -4))
    s.two("D2", (7.6, -2), (7.6, 0))
    s.wire((7.6, -2), (gate[0], -2))
    s.wire((3, -2), (3, _LOW))
    s.wire((gate[0], -4), (gate[0], _LOW))
    s.tag("31", (0, _LOW), text="minus")
    s.wire((0, _LOW), (7.4, _LOW))
    s.two("W1", (7.4, _LOW), (9.4, _LOW))
    s.text("star point", (8.4, _LOW - 0.4), "center", 9)
    s.wire((9.4, _LOW), (10.2, _LOW))
    s.tag("GND", (10.2, _LOW), "down")
    s.wire((9.6, 0), (9.6, 1.2))
    s.tag("VIN", (9.6, 1.2), "up")


def _share(s: Sheet) -> None:
    s.two("F2", (10.6, 0), (12.6, 0))
    s.wire((12.6, 0), (13.2, 0))
    s.two("D4", (13.2, 0), (15.2, 0), "below")
    s.wire((15.2, 0), (23, 0))
    s.tag("+12V", (23, 0), "right")
    for ref, x in (("C1", 16), ("C2", 18)):
        s.two(ref, (x, 0), (x, -2))
        s.tag("GND", (x, -2), "down")
    s.two("R2", (20.2, 0), (20.2, -2))
    s.two("D3", (20.2, -2), (20.2, -4))
    s.tag("GND", (20.2, -4), "down")


def _regulators(s: Sheet) -> None:
    parts = (("U1", "+8V", "C3", "C4", 0), ("U2", "+5V", "C5", "C6", 9.6))
    for ref, rail, reserve, bypass, x in parts:
        y = -9.0
        s.box(
            ref,
            (x + 2.4, y),
            (2.4, 1.4),
            {"left": ("in",), "right": ("out",), "bottom": ("GND",)},
        )
        into, out = s.at(f"{ref}.in"), s.at(f"{ref}.out")
        s.wire((x, y), into)
        s.tag("+12V", (x, y), "up")
        s.tag("GND", f"{ref}.GND", "down")
        s.wire(out, (x + 8.0, y))
        for n, cap in enumerate((reserve, bypass)):
            s.two(cap, (x + 4.8 + 1.6 * n, y), (x + 4.8 + 1.6 * n, y - 2))
            s.tag("GND", (x + 4.8 + 1.6 * n, y - 2), "down")
        s.tag(rail, (x + 8.0, y), "up")


def _converter(s: Sheet) -> None:
    x, y = 4.0, -15.4
    s.box("U3", (x, y), (3.2, 3.6), {"left": ("in+", "in-"), "right": ("+15", "0", "-15")})
    s.wire("U3.in+", (0.8, s.at("U3.in+")[1]))
    s.tag("+12V", (0.8, s.at("U3.in+")[1]), "up")
    low = s.at("U3.in-")
    s.wire("U3.in-", (0.8, low[1]))
    s.tag("GND", (0.8, low[1]), "down")
    plus, zero, minus = (s.at(f"U3.{pin}") for pin in ("+15", "0", "-15"))
    top, bottom = zero[1] + 2, zero[1] - 2
    s.wire("U3.+15", (plus[0] + 0.6, plus[1]), (plus[0] + 0.6, top), (14.4, top))
    s.wire("U3.-15", (minus[0] + 0.6, minus[1]), (minus[0] + 0.6, bottom), (14.4, bottom))
    s.wire("U3.0", (14.4, zero[1]))
    s.tag("GND", (14.4, zero[1]), "down")
    s.two("C7", (8.4, top), (8.4, zero[1]))
    s.two("C9", (11.4, top), (11.4, zero[1]))
    s.two("C8", (8.4, zero[1]), (8.4, bottom))
    s.two("C10", (11.4, bottom), (11.4, zero[1]))
    s.tag("+15V", (14.4, top), "right")
    s.tag("-15V", (14.4, bottom), "right")
