"""What each part of a stage bears in a fault, against what it is rated for.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np

from circuit.circuit import Circuit
from circuit.parts import Kind, Part
from circuit.spice import deck, device, node
from simulate.ngspice import Array, Waves, run

_BASES = {Kind.NPN: ("E", "B"), Kind.PNP: ("B", "E")}
_POWERED = {Kind.DIODE, Kind.LED, Kind.PFET, *_BASES}
# Volts that every junction of base and emitter, and every electrolytic, bears the wrong way round.
_BASE, _ELECTROLYTIC = 5.0, 1.0
_CURRENTS = {kind: "ic" if kind in _BASES else "id" for kind in _POWERED}


@dataclass(frozen=True)
class Load:
    """What a part sees at the end of the fault, in magnitude; `reverse` is the share of what it
    bears the wrong way round, at any time.
    """

    part: Part
    volts: float
    amps: float
    watts: float
    reverse: float = 0

    def shares(self) -> list[float]:
        """What it bears over each of its ratings."""
        rating = self.part.type.rating
        pairs = ((self.volts, rating.volts), (self.amps, rating.amps), (self.watts, rating.watts))
        return [value / limit for value, limit in pairs if limit] + [self.reverse]


def loads(
    stage: Circuit,
    around: str,
    analysis: str,
    closed: Collection[str] = (),
    factor: Callable[[Part], float] = lambda part: 1.0,
    turned: float = 0.5,
    device_models: str | None = None,
) -> tuple[Waves, list[Load]]:
    """Run a fault to its end, and what every part then bears."""
    wanted = ["all"]
    for part in stage.parts:
        if part.type.kind in _POWERED:
            wanted += [f"@{device(part)}[{what}]" for what in ("p", _CURRENTS[part.type.kind])]
    waves = run(
        deck(stage, closed, factor, turned) + around, analysis, " ".join(wanted), device_models
    )
    return waves, [_load(part, waves, turned) for part in stage.parts if _simulated(part)]


def _simulated(part: Part) -> bool:
    return part.type.kind not in (Kind.TERMINAL, Kind.IC, Kind.TRANSFORMER, Kind.JUMPER, Kind.LINK)


def _voltage(part: Part, waves: Waves, first: str, second: str) -> Array:
    def at(net: str) -> Array:
        name = node(net)
        return np.zeros_like(waves.time) if name == "0" else waves[f"v({name})"]

    return at(part.nets[first]) - at(part.nets[second])


def _load(part: Part, waves: Waves, turned: float) -> Load:
    kind, names = part.type.kind, list(part.nets)
    across = _voltage(part, waves, names[0], names[-1])
    volts = float(abs(across[-1]))
    if kind is Kind.RESISTOR:
        amps = across / part.type.number
        return Load(part, volts, *_last(amps, across * amps))
    if kind in _POWERED:
        amps = waves[f"@{device(part)}[{_CURRENTS[kind]}]"]
        bears = _last(amps, waves[f"@{device(part)}[p]"])
        reverse = _voltage(part, waves, *_BASES[kind]).max() if kind in _BASES else 0.0
        return Load(part, volts, *bears, max(float(reverse) / _BASE, 0.0))
    if "+" in names:
        return Load(part, volts, 0, 0, max(float(-across.min()) / _ELECTROLYTIC, 0.0))
    if kind is Kind.TRIMMER:
        return Load(part, volts, 0, _trimmer_watts(part, waves, turned))
    return Load(part, volts, 0, 0)


def _trimmer_watts(part: Part, waves: Waves, turned: float) -> float:
    """What the whole track would take at the larger of the currents in its two sections.

    A section bears its share of the watts only, so this is what the rating speaks of.
    """
    ohms = part.type.number
    first = _voltage(part, waves, "1", "wiper")[-1] / (ohms * (1 - turned) + 1)
    second = _voltage(part, waves, "wiper", "3")[-1] / (ohms * turned + 1)
    return float(max(first**2, second**2) * ohms)


def _last(amps: Array, watts: Array) -> tuple[float, float]:
    return float(abs(amps[-1])), float(abs(watts[-1]))
