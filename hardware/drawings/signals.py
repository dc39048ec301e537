"""The dummy signals on paper.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.sheet import Sheet

_GROUND = "SENSOR GND"


def draw_signals(stage: Circuit) -> Sheet:
    s = Sheet(stage)
    s.tag("CLT", (0, 0))
    s.wire((0, 0), (6.4, 0))
    for n, x in enumerate((1.2, 3.8, 6.4), 1):
        s.two(f"JP{n}", (x, 0), (x, -2))
        s.two(f"R{n}", (x, -2), (x, -4))
    s.wire((1.2, -4), (6.4, -4))
    s.tag(_GROUND, (3.8, -4), "down")
    for first, x, net in ((4, 9.8, "TPS"), (7, 15.3, "MAP")):
        s.two(f"R{first}", (x, 2), (x, 0), "left")
        s.two(f"RV{first // 3}", (x, 0), (x, -2), "left")
        s.two(f"R{first + 1}", (x, -2), (x, -4), "left")
        s.tag("SENSOR 5V", (x, 2), "up")
        s.tag(_GROUND, (x, -4), "down")
        wiper = s.at(f"RV{first // 3}.wiper")
        s.two(f"R{first + 2}", wiper, (wiper[0] + 2, wiper[1]))
        s.tag(net, (wiper[0] + 2, wiper[1]), "right")
    return s
