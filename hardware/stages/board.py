"""The whole board: which stage lies between which pin and which terminal.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from circuit.circuit import GROUND, Circuit, joined
from circuit.lists import table
from circuit.parts import Kind, Pin, Role
from stages import catalogue as of
from stages.feed import feed
from stages.hall import hall
from stages.inputs import controller_input
from stages.reluctor import reluctor
from stages.signals import signals
from stages.supply import supply

HALLS = INPUTS = range(1, 7)
VRS = {7: "CRANK", 8: "CAM"}

# GPIO numbers of the RP2040 (firmware/README.md) by what hangs on them.
GPIO = (
    {f"OUT{n - 1}": n - 1 for n in HALLS}
    | {"FEED ON": 6, "SPARE OUT": 7}
    | {f"IN{n - 1}": 7 + n for n in INPUTS}
    | {"SPARE IN6": 14, "SPARE IN7": 15}
    | {"CRANK UPPER": 16, "CRANK LOWER": 17, "CAM UPPER": 18, "CAM LOWER": 19}
)

# The usual board of 2 times 20 pins, 21 mm wide: what each of its pins is, from memory.
_LEFT = tuple("0 1 G 2 3 4 5 G 6 7 8 9 G 10 11 12 13 G 14 15".split())  # noqa: SIM905
_RIGHT = tuple(
    "16 17 G 18 19 20 21 G 22 RUN 26 27 G 28 REF 3V3 EN G VSYS VBUS".split()  # noqa: SIM905
)


def _strip(names: Sequence[str]) -> tuple[dict[str, str], tuple[Pin, ...]]:
    """The nets of a strip by pin name, and those of its pins that are used."""
    on = {str(number): net for net, number in GPIO.items() if not net.startswith("SPARE")}
    nets: dict[str, str] = {}
    used = []
    for number, name in enumerate(names, 1):
        if name == "G":
            pin, net = Pin(f"G{number}", str(number)), GROUND
        elif name == "3V3":
            pin, net = Pin("3V3", str(number), Role.SUPPLY), "+3V3"
        elif name in on:
            role = Role.INPUT if 8 <= int(name) < 16 else Role.OUTPUT
            pin, net = Pin(f"GPIO{name}", str(number), role), on[name]
        else:
            continue
        nets[pin.name] = net
        used.append(pin)
    return nets, tuple(used)


TERMINALS = {
    "X1": ("30", "31", "15", "31"),
    "X2": tuple(net for n in HALLS for net in (f"HALL{n}", GROUND)),
    "X3": tuple(
        net for vr in VRS.values() for net in (f"{vr} VR", GROUND, f"{vr} VR+", f"{vr} VR-")
    ),
    "X4": (*(f"LINE{n}" for n in INPUTS), GROUND, GROUND),
    "X5": ("SENSOR 5V", "SENSOR GND", "CLT", "TPS", "MAP"),
}


BLOCKS = range(1, 18)
_TERMINALS_OF = {
    "X1": (9, 10), "X2": HALLS, "X3": tuple(VRS), "X4": range(11, 17), "X5": (17,)
}  # fmt: skip


@dataclass(frozen=True)
class Build:
    """What may be built of the board: blocks, and which parts of them are not wanted."""

    blocks: tuple[int, ...]
    without: tuple[str, ...] = ()

    def part_count(self) -> int:
        counted = board(self.blocks)
        counted.parts = [part for part in counted.parts if part.ref not in self.without]
        return sum(part_count(counted).values())


BUILDS = {
    "one Hall output, one input; 5 V from USB": Build((1, 11)),
    "crank and cam by Hall, one input, feed and supply without U3 and C7 to C10": Build(
        (1, 2, 9, 10, 11), ("U1003", "C1007", "C1008", "C1009", "C1010")
    ),
    "all": Build(tuple(BLOCKS)),
}


def connector(blocks: Collection[int] = BLOCKS) -> Circuit:
    """The screw terminals, the board's two socket strips, and the bypass of the gates."""
    c = Circuit("connector", "Terminals and the board's sockets")
    for ref, nets in TERMINALS.items():
        if not set(_TERMINALS_OF[ref]) & set(blocks):
            continue
        c.add(ref, of.terminals(len(nets)), *nets, why="to the bench")
    for ref, names in (("X6", _LEFT), ("X7", _RIGHT)):
        wiring, used = _strip(names)
        c.add(ref, of.socket(used), why="to the RP2040 board", on=wiring)
    c.add("C1", of.ceramic("100n"), "+3V3", GROUND, why="bypass, beside U91")
    return c


def board(blocks: Collection[int] = BLOCKS) -> Circuit:
    """Every stage with its number, wired to the terminals; the bench supply is left outside."""
    members: list[tuple[int, Circuit, dict[str, str]]] = []
    for n in HALLS:
        members.append((n, hall(), {"DRIVE": f"OUT{n - 1}", "OUT": f"HALL{n}"}))
    for n, name in VRS.items():
        wiring = {net: f"{name} {net}" for net in ("UPPER", "LOWER", "VR", "VR+", "VR-")}
        members.append((n, reluctor(n - 7), wiring))
    members.append((9, feed(), {"ON": "FEED ON"}))
    members.append((10, supply(), {}))
    for n in INPUTS:
        wiring = {"PIN": f"IN{n - 1}", "LINE": f"LINE{n}"}
        members.append((10 + n, controller_input(n - 1), wiring))
    members.append((17, signals(), {}))
    members = [member for member in members if member[0] in blocks]
    whole = joined("board", "The whole board", members)
    whole.parts.extend(connector(blocks).parts)
    whole.port("30", Role.SUPPLY, "plus of the bench supply")
    whole.port("31", Role.SUPPLY, "minus of the bench supply")
    return whole


def part_count(circuit: Circuit) -> dict[Kind, int]:
    """How many of each kind are soldered in; a shared package is one."""
    refs = {part.shared or part.ref: part.type.kind for part in circuit.parts}
    return {kind: list(refs.values()).count(kind) for kind in Kind}


def connections() -> str:
    """The connection table: each terminal and each used pin of the RP2040 board, and its net."""
    rows = []
    for part in connector().parts:
        if part.type.kind is Kind.TERMINAL:
            for pin in part.type.pins:
                name = "" if pin.name == pin.number else pin.name
                rows.append((part.ref, pin.number, name, part.nets[pin.name]))
    return table(("connector", "pin", "called", "net"), rows)
