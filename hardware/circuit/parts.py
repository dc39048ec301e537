"""What a part is: its kind, value, pins, package, ratings, and what may stand in for it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from enum import StrEnum

from circuit.packages import PACKAGES, Package

_FACTORS = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3, "R": 1.0, "": 1.0, "k": 1e3, "M": 1e6}
_VALUE = re.compile(r"^(\d+(?:\.\d+)?)([pnumRkM]?)$")


class Kind(StrEnum):
    """A kind's first word is its value; the letter of its references stands in `LETTERS`."""

    RESISTOR = "resistor"
    CAPACITOR = "capacitor"
    DIODE = "diode"
    CLAMP = "two-way surge clamp"
    LED = "LED"
    NPN = "NPN transistor"
    PNP = "PNP transistor"
    PFET = "P-channel MOSFET"
    FUSE = "fuse"
    PTC = "resettable fuse"
    TRIMMER = "trimmer"
    TRANSFORMER = "transformer"
    IC = "integrated circuit"
    JUMPER = "jumper"
    LINK = "wire link"
    TERMINAL = "terminal"


LETTERS = {
    Kind.RESISTOR: "R",
    Kind.CAPACITOR: "C",
    Kind.DIODE: "D",
    Kind.CLAMP: "D",
    Kind.LED: "D",
    Kind.NPN: "Q",
    Kind.PNP: "Q",
    Kind.PFET: "Q",
    Kind.FUSE: "F",
    Kind.PTC: "F",
    Kind.TRIMMER: "RV",
    Kind.TRANSFORMER: "T",
    Kind.IC: "U",
    Kind.JUMPER: "JP",
    Kind.LINK: "W",
    Kind.TERMINAL: "X",
}


class Role(StrEnum):
    """What a pin does to its net, for the rules."""

    PASSIVE = "passive"
    INPUT = "input"
    OUTPUT = "push-pull output"
    SUPPLY = "supply"
    SUPPLIED = "supplied"
    WORLD = "terminal"


@dataclass(frozen=True)
class Pin:
    """A pin's name, its number in the package, and its role."""

    name: str
    number: str
    role: Role = Role.PASSIVE


@dataclass(frozen=True)
class Rating:
    """What the part bears for as long as one likes; None where it means nothing."""

    volts: float | None = None
    amps: float | None = None
    watts: float | None = None


@dataclass(frozen=True)
class PartType:
    """A generic part.

    `pins` stand in the order in which SPICE wants them; `model` names the SPICE model or
    subcircuit; `units` gives a package with several equal circuits the pins of each, in the same
    order as `pins`; `substitutes` are two other classes of part that do.
    """

    kind: Kind
    value: str
    package: str
    pins: tuple[Pin, ...]
    substitutes: tuple[str, str]
    rating: Rating = field(default_factory=Rating)
    model: str = ""
    units: tuple[tuple[str, ...], ...] = ()
    tolerance: float = 0.05

    @property
    def number(self) -> float:
        """The value in ohms or farads; ValueError where it is not a number."""
        match = _VALUE.match(re.split("[ ,]", self.value)[0])
        if match is None:
            raise ValueError(f"{self.value!r} is not a number with a unit prefix, such as 2.2k.")
        return float(match[1]) * _FACTORS[match[2]]

    @property
    def housing(self) -> Package:
        return PACKAGES[self.package]


@dataclass(frozen=True)
class Part:
    """One part of a circuit: `nets` name the net of each pin by the pin's name.

    `unit` counts from 0 which of the circuits in the package `shared` this is.
    """

    ref: str
    type: PartType
    nets: dict[str, str]
    why: str = ""
    unit: int | None = None
    shared: str = ""

    def pin_number(self, name: str) -> str:
        """The number in the package, of this unit's pin."""
        index = [pin.name for pin in self.type.pins].index(name)
        if self.unit is None:
            return self.type.pins[index].number
        return self.type.units[self.unit][index]
