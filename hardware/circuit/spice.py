"""A circuit as a SPICE deck, and the names by which its parts and nets go there."""

from __future__ import annotations

from collections.abc import Callable, Collection

from circuit.circuit import GROUND, Circuit
from circuit.parts import Kind, Part

_LETTER = {
    Kind.RESISTOR: "R",
    Kind.CAPACITOR: "C",
    Kind.DIODE: "D",
    Kind.LED: "D",
    Kind.NPN: "Q",
    Kind.PFET: "M",
    Kind.FUSE: "R",
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

    `closed` names the jumpers that are in; `factor` is what the value of a resistor or capacitor
    is multiplied by (tolerances); `turned` is where the wipers of trimmers stand, 0 to 1.
    """
    lines = []
    for part in circuit.parts:
        if part.type.kind is Kind.TERMINAL:
            continue
        nets = " ".join(node(part.nets[pin.name]) for pin in part.type.pins)
        lines.append(f"{device(part)} {nets} {_what(part, closed, factor, turned)}")
    return "\n".join(lines) + "\n"


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
