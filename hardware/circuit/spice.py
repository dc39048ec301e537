"""A circuit as a SPICE deck, and the names by which its parts and nets go there."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator

from circuit.circuit import GROUND, Circuit
from circuit.parts import Kind, Part

_LETTER = {
    Kind.RESISTOR: "R",
    Kind.CAPACITOR: "C",
    Kind.DIODE: "D",
    Kind.LED: "D",
    Kind.NPN: "Q",
    Kind.PNP: "Q",
    Kind.PFET: "M",
    Kind.JUMPER: "R",
    Kind.LINK: "R",
}
_CLOSED, _OPEN = "10m", "1g"


def node(net: str) -> str:
    """A net's name in the deck: ground is 0, signs become letters."""
    if net == GROUND:
        return "0"
    return net.lower().replace("+", "p").replace("-", "m").replace("/", "_").replace(" ", "_")


def device(part: Part) -> str:
    """The part's name in the deck, which must begin with the letter of its SPICE kind."""
    letter = _LETTER.get(part.type.kind, "X")
    return (part.ref if part.ref.startswith(letter) else letter + part.ref).lower()


def deck(
    circuit: Circuit,
    closed: Collection[str] = (),
    factor: Callable[[Part], float] = lambda part: 1.0,
    turned: float = 0.5,
) -> str:
    """The circuit's lines.

    `closed` names the jumpers that are in, JP1.5V where JP1 has more than one place; `factor` is
    what the value of a resistor or capacitor is multiplied by (tolerances); `turned` is where the
    wipers of trimmers stand, 0 to 1.
    """
    lines: list[str] = []
    for part in circuit.parts:
        if part.type.kind is Kind.TERMINAL:
            continue
        nets = [node(part.nets[pin.name]) for pin in part.type.pins]
        if part.type.kind is Kind.JUMPER and len(nets) > 2:
            lines += _ways(part, nets, closed)
        else:
            lines.append(f"{device(part)} {' '.join(nets)} {_what(part, closed, factor, turned)}")
    return "\n".join(lines) + "\n"


def _ways(part: Part, nets: list[str], closed: Collection[str]) -> Iterator[str]:
    """The places of a jumper's cap, each from its own pin to the last one."""
    for pin, net in zip(part.type.pins[:-1], nets[:-1], strict=True):
        is_in = f"{part.ref}.{pin.name}" in closed
        yield f"{device(part)}_{pin.name.lower()} {net} {nets[-1]} {_CLOSED if is_in else _OPEN}"


def _what(
    part: Part, closed: Collection[str], factor: Callable[[Part], float], turned: float
) -> str:
    kind = part.type.kind
    if kind in (Kind.RESISTOR, Kind.CAPACITOR):
        return f"{part.type.number * factor(part):.6g}"
    if kind is Kind.JUMPER:
        return _CLOSED if part.ref in closed else _OPEN
    if kind is Kind.LINK:
        return "1m"
    if kind is Kind.TRIMMER:
        return f"TRIMMER R={part.type.number * factor(part):.6g} AT={turned:.4g}"
    return part.type.model
