"""The electrical rules: what is wrong with a circuit before any of it is simulated."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Collection

from circuit.circuit import GROUND, Circuit
from circuit.packages import PACKAGES
from circuit.parts import LETTERS, Kind, Part, Role

_E24 = tuple(
    "1.00 1.10 1.20 1.30 1.50 1.60 1.80 2.00 2.20 2.40 2.70 3.00 "  # noqa: SIM905
    "3.30 3.60 3.90 4.30 4.70 5.10 5.60 6.20 6.80 7.50 8.20 9.10".split()
)
_NUMERIC = {Kind.RESISTOR, Kind.CAPACITOR, Kind.TRIMMER}
_WIRES = (Kind.FUSE, Kind.PTC, Kind.LINK)
_NEED_RATING = {
    Kind.RESISTOR: "watts",
    Kind.CAPACITOR: "volts",
    Kind.DIODE: "watts",
    Kind.NPN: "watts",
    Kind.PNP: "watts",
    Kind.PFET: "watts",
    Kind.FUSE: "amps",
    Kind.PTC: "amps",
    Kind.TRIMMER: "watts",
}


def check(circuit: Circuit, whole: bool = False) -> list[str]:
    """Every broken rule as a sentence; an empty list is a clean circuit.

    A `whole` board must also bypass the supplies of its integrated circuits.
    """
    broken = [sentence for part in circuit.parts for sentence in _part(part)]
    broken += _nets(circuit) + _islands(circuit) + _shared(circuit) + _reserves(circuit)
    broken += _held(circuit)
    return broken + _bypass(circuit) if whole else broken


def _part(part: Part) -> list[str]:
    broken = []
    kind, type = part.type.kind, part.type
    if not re.fullmatch(LETTERS[kind] + r"\d+[A-F]?", part.ref):
        broken.append(f"{part.ref}: a {kind} is called {LETTERS[kind]} and a number.")
    if len(set(part.nets.values())) == 1 and len(part.nets) > 1:
        broken.append(f"{part.ref}: all its pins are on {next(iter(part.nets.values()))}.")
    if kind is Kind.NPN and part.nets["C"] == GROUND:
        broken.append(f"{part.ref}: the collector of an NPN transistor is on {GROUND}.")
    if kind in _NUMERIC:
        try:
            if not is_sold(type.number, kind):
                broken.append(f"{part.ref}: no series of values has {type.value}.")
        except ValueError as problem:
            broken.append(f"{part.ref}: {problem}")
    package = PACKAGES.get(type.package)
    if package is None:
        return [*broken, f"{part.ref}: no such package: {type.package}."]
    numbers = [part.pin_number(pin.name) for pin in type.pins]
    if len(set(numbers)) != len(numbers):
        broken.append(f"{part.ref}: two pins have the same number.")
    if any(not 1 <= int(number) <= package.pins for number in numbers):
        broken.append(f"{part.ref}: {type.package} has pins 1 to {package.pins} only.")
    need = _NEED_RATING.get(kind)
    if need and getattr(type.rating, need) is None:
        broken.append(f"{part.ref}: says nothing of the {need} it bears.")
    return broken


def is_sold(number: float, kind: Kind) -> bool:
    """Whether a series has the value: E24 and E96 (IEC 60063) of resistors, E12 of capacitors, 1, 2
    and 5 of trimmers, 4.7 as well.
    """
    digits = f"{number:.2e}".split("e")[0]
    if kind is Kind.RESISTOR:
        return digits in _E24 or digits in {f"{10 ** (n / 96):.2f}" for n in range(96)}
    return digits in (_E24[::2] if kind is Kind.CAPACITOR else ("1.00", "2.00", "4.70", "5.00"))


def _roles(circuit: Circuit) -> dict[str, list[tuple[str, Role]]]:
    found: dict[str, list[tuple[str, Role]]] = defaultdict(list)
    for part in circuit.parts:
        for pin in part.type.pins:
            found[part.nets[pin.name]].append((f"{part.ref}.{pin.name}", pin.role))
    for port in circuit.ports:
        found[port.net].append((f"port {port.net}", port.role))
    return found


def _nets(circuit: Circuit) -> list[str]:
    broken = []
    roles = _roles(circuit)
    supplied = _supplied(circuit, roles)
    for net, pins in sorted(roles.items()):
        count = Counter(role for _, role in pins)
        names = ", ".join(name for name, _ in pins)
        if len(pins) < 2:
            broken.append(f"net {net}: only {names} is on it.")
        if count[Role.OUTPUT] > 1:
            broken.append(f"net {net}: push-pull outputs tied together ({names}).")
        if count[Role.OUTPUT] and count[Role.SUPPLY]:
            broken.append(f"net {net}: an output is tied to a supply ({names}).")
        if count[Role.SUPPLY] > 1:
            broken.append(f"net {net}: two supplies tied together ({names}).")
        if count[Role.SUPPLIED] and net not in supplied:
            broken.append(f"net {net}: nothing supplies {names}.")
        if pins and all(role is Role.INPUT for _, role in pins):
            broken.append(f"net {net}: inputs float ({names}).")
    return broken


def _supplied(
    circuit: Circuit,
    roles: dict[str, list[tuple[str, Role]]],
    through: Collection[Kind] = (*_WIRES, Kind.PFET, Kind.DIODE),
) -> set[str]:
    """Nets with a supply, or behind one through fuses, links, diodes and channels of MOSFETs."""
    supplied = {net for net, pins in roles.items() if any(r is Role.SUPPLY for _, r in pins)}
    passing = [
        {net for pin, net in part.nets.items() if pin != "G"}
        for part in circuit.parts
        if part.type.kind in through
    ]
    for _ in passing:
        for nets in passing:
            if nets & supplied:
                supplied |= nets
    return supplied


def _islands(circuit: Circuit) -> list[str]:
    """Nets that no part joins to a ground; a transformer joins its two sides."""
    beside: dict[str, set[str]] = defaultdict(set)
    for part in circuit.parts:
        nets = set(part.nets.values())
        for net in nets:
            beside[net] |= nets
    seen, todo = set(), list(circuit.grounds)
    while todo:
        net = todo.pop()
        if net not in seen:
            seen.add(net)
            todo += beside.get(net, ())
    return [f"net {net}: nothing joins it to ground." for net in sorted(set(beside) - seen)]


def _held(circuit: Circuit) -> list[str]:
    """Inputs that float while the RP2040 board is dead or away: neither they nor what lies behind
    their resistors is a ground, a supply or a chip's output.
    """
    held = set(circuit.grounds) | _supplied(circuit, _roles(circuit), (*_WIRES, Kind.PFET))
    inputs = []
    for part in circuit.parts:
        for pin in part.type.pins:
            if pin.role is Role.INPUT and part.type.kind is not Kind.TERMINAL:
                inputs.append((f"{part.ref}.{pin.name}", part.nets[pin.name]))
            if pin.role is Role.OUTPUT and part.type.kind is Kind.IC:
                held.add(part.nets[pin.name])
    resistors = [set(p.nets.values()) for p in circuit.parts if p.type.kind is Kind.RESISTOR]
    for _ in resistors:
        held |= {net for nets in resistors if nets & held for net in nets}
    return [f"{name}: nothing holds it without a board." for name, net in inputs if net not in held]


def _bypass(circuit: Circuit) -> list[str]:
    """Every supply pin of an integrated circuit wants a capacitor from its net to ground."""
    held = {
        net
        for part in circuit.parts
        if part.type.kind is Kind.CAPACITOR and GROUND in part.nets.values()
        for net in part.nets.values()
    }
    return [
        f"{part.ref}: no capacitor from {part.nets[pin.name]} to {GROUND}."
        for part in circuit.parts
        if part.type.kind is Kind.IC
        for pin in part.type.pins
        if pin.role is Role.SUPPLIED and part.nets[pin.name] not in held | {GROUND}
    ]


def _reserves(circuit: Circuit) -> list[str]:
    """On a chip's supply: 100 nF or so beside it, and what a regulator wants and bears."""
    supplies: dict[Role, set[str]] = defaultdict(set)
    for part in circuit.parts:
        for pin in part.type.pins if part.type.kind is Kind.IC else ():
            supplies[pin.role].add(part.nets[pin.name])
    broken = []
    for part in circuit.parts:
        nets = set(part.nets.values()) - {GROUND}
        if part.type.kind is not Kind.CAPACITOR or len(nets) != 1:
            continue
        most = 47e-6 if nets <= supplies[Role.SUPPLY] else 1000e-6
        if nets <= supplies[Role.SUPPLY] | supplies[Role.SUPPLIED]:
            farad = part.type.number
            if not (47e-9 <= farad <= 220e-9 or 4.7e-6 <= farad <= most):
                broken.append(
                    f"{part.ref}: {part.type.value} is too small or too large on a supply."
                )
    return broken


def _shared(circuit: Circuit) -> list[str]:
    """Units of one package: each used once, and common pins on the same net."""
    broken = []
    nets: dict[tuple[str, str], str] = {}
    units: set[tuple[str, int]] = set()
    for part in circuit.parts:
        if part.unit is None:
            continue
        if (part.shared, part.unit) in units:
            broken.append(f"{part.ref}: unit {part.unit + 1} of {part.shared} is used twice.")
        units.add((part.shared, part.unit))
        for pin in part.type.pins:
            number, net = part.pin_number(pin.name), part.nets[pin.name]
            if nets.setdefault((part.shared, number), net) != net:
                other = nets[part.shared, number]
                broken.append(f"{part.ref}: pin {number} of {part.shared} is on {other}, too.")
    return broken
