"""How the board is wired to a controller: three cases, and the grounds.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from dataclasses import dataclass

_ROW, _BOX, _GAP = 34, 190, 270


@dataclass(frozen=True)
class Wire:
    """A line from a terminal on the left to a place on the right; `note` stands on it.

    What must stay `apart` gets no line.
    """

    left: str
    right: str
    note: str = ""
    ground: bool = False
    apart: bool = False


@dataclass(frozen=True)
class Wiring:
    title: str
    wires: tuple[Wire, ...]
    cautions: tuple[str, ...]
    left: str = "this board"
    right: str = "controller"


GROUND_FIRST = Wire("X1 31", "31 supply ground", "first on, last off", ground=True)
HALL = Wiring(
    "Controller with Hall inputs",
    (
        GROUND_FIRST,
        Wire("X2.2 GND", "sensor ground", "one pair with the crank line", ground=True),
        Wire("X2.1 HALL1", "crank input", "twisted with its ground"),
        Wire("X2.3 HALL2", "cam input", "twisted with its ground"),
        Wire("X1 15", "15 switched supply", "fused 3 A; last on, first off"),
        Wire("X4.1 LINE1", "ignition command", "logic level: never a coil's terminal 1"),
    ),
    (
        "LINE1: its JP1 (JP1101) in for a bare open collector only, else out.",
        "31 before a sensor ground: alone, that carries the controller's whole current.",
        "Controller has its own pull-up: JP2 and JP3 of that channel out.",
        "Otherwise JP1 on the right rail and JP2 or JP3 in; measure the open line before wiring.",
    ),
)
VR = Wiring(
    "Controller with VR inputs",
    (
        GROUND_FIRST,
        Wire("X3.3 CRANK VR+", "crank VR +", "twisted, screened"),
        Wire("X3.4 CRANK VR-", "crank VR -", "floats: do not ground here"),
        Wire("X3.5 CAM VR", "cam VR, single-ended", "grounded output"),
        Wire("X3.6 GND", "sensor ground", "and the screen, at this end only", ground=True),
        Wire("X1 15", "15 switched supply", "fused 3 A"),
    ),
    (
        "Up to 12 V peak: start with a tenth of the amplitude. Never to a Hall or logic input.",
        "Wrong way round: swap VR+ and VR-. A sensor ground only after 31.",
    ),
)
SHARED = Wiring(
    "One sensor line shared by two controllers",
    (
        Wire("X1 31", "31 of A and of B", "one point for both", ground=True),
        Wire("X2.2 GND", "sensor ground of A and B", "same reference for both", ground=True),
        Wire("X2.1 HALL1", "crank input of A and B", "pull-up here removed: JP2, JP3 out"),
        Wire("X3.3 CRANK VR+", "VR + of A and B"),
        Wire("X3.4 CRANK VR-", "VR - of A and B", "one leg grounded, at A's sensor ground"),
        Wire("X1 15", "15 of A and of B", "a fuse for each"),
    ),
    (
        "Hall or VR, not both on one input. A pull-up in each controller: their currents add up;",
        "together at most 15 mA (12 V: not below 820 ohm).",
    ),
    right="controllers A and B",
)
GROUNDS = Wiring(
    "Grounds and static",
    (
        Wire("31 (X1.2), thick wire", "bench supply's minus", "carries the controller's current",
             ground=True),
        Wire("31 (X1.4), thick wire", "controller's 31", "short; never a sensor ground alone",
             ground=True),
        Wire("no wire from here", "plus of dummy loads", "from the bench supply, own fuse",
             apart=True),
        Wire("GND of the stages", "Hall, VR, inputs", "signal currents only", ground=True),
        Wire("GND of the RP2040 board", "computer, through USB", "isolator or battery laptop",
             ground=True),
        Wire("clamp at every output", "GND beside its terminal", "short leads", ground=True),
        Wire("no wire from here", "X5.2 SENSOR GND", "the controller joins it itself", apart=True),
    ),
    ("Pins of the RP2040 board have no clamp: wrist strap on, terminals first.",),
    "joined at W1, the star point",
    "what hangs on it",
)  # fmt: skip


def draw(wiring: Wiring) -> str:
    """Two boxes and the wires between them; grounds are drawn thick."""
    left, right = 20 + _BOX, 20 + _BOX + _GAP
    bottom = 70 + _ROW * len(wiring.wires)
    height = bottom + 30 + 20 * len(wiring.cautions)
    width = right + 250
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        'font-family="sans-serif" font-size="13">',
        '<rect width="100%" height="100%" fill="white"/>',
        f'<text x="20" y="24" font-size="16">{wiring.title}</text>',
    ]
    for x, wide, name in ((20, _BOX, wiring.left), (right, 230, wiring.right)):
        lines.append(
            f'<rect x="{x}" y="36" width="{wide}" height="{bottom - 36}" fill="#f4f4f4" '
            f'stroke="black"/><text x="{x + wide / 2:g}" y="54" text-anchor="middle" '
            f'font-style="italic">{name}</text>'
        )
    for n, wire in enumerate(wiring.wires):
        y = 84 + _ROW * n
        stroke = 0 if wire.apart else 4 if wire.ground else 1.5
        lines += [
            f'<path d="M{left} {y}H{right}" stroke="black" stroke-width="{stroke}"/>',
            f'<circle cx="{left}" cy="{y}" r="4"/><circle cx="{right}" cy="{y}" r="4"/>',
            f'<text x="{left - 10}" y="{y + 4}" text-anchor="end">{wire.left}</text>',
            f'<text x="{right + 10}" y="{y + 4}">{wire.right}</text>',
            f'<text x="{left + _GAP / 2:g}" y="{y - 6}" text-anchor="middle" '
            f'font-size="11">{wire.note}</text>',
        ]
    for n, caution in enumerate(wiring.cautions):
        lines.append(f'<text x="20" y="{bottom + 24 + 20 * n}" font-weight="bold">{caution}</text>')
    return "\n".join([*lines, "</svg>"]) + "\n"


def wirings() -> dict[str, str]:
    """File names with their drawings."""
    names = {"hall": HALL, "vr": VR, "shared": SHARED, "grounds": GROUNDS}
    return {f"wiring-{name}.svg": draw(wiring) for name, wiring in names.items()}
