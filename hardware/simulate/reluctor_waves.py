"""The VR output played with the codes of an ideal sensor: amplitude and zero crossings.

SPDX-License-Identifier: CERN-OHL-P-2.0

The ideal sensor: each tooth is a bump of flux a quarter of a pitch wide (standard deviation), the
voltage is its slope (Faraday's law), so it falls through zero at the tooth's centre. The wheel has
60 pitches, so a pitch passes in 1/rpm seconds; two of every twelve teeth are missing, which shows
the gap's effect without a whole turn.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from circuit.circuit import Circuit
from circuit.parts import Part
from circuit.spice import deck
from simulate.bench import crossings
from simulate.ngspice import Array, Waves, run

WIDTH = 0.25
PITCHES = 24
TEETH = [n for n in range(-6, PITCHES + 6) if n % 12 not in (5, 6)]
MEASURED = (13, 14, 15, 16, 19, 20, 21, 22)
FULL_SCALE_RPM = 10_000
LOGIC = 3.3
RAILS = "V5 p5v 0 5\nVp p15v 0 15\nVm m15v 0 -15\n"
LOADS = (
    "Rl1 vr 0 10k\nCl1 vr 0 1.5n\nRl2 vrp vrm 10k\nCl2 vrp vrm 1.5n\nRg vrm 0 1\n"  # a grounded leg
)
# By output: its coupling is a high-pass that leads at low speed.
CORNER_HZ = {"VR": 0.71, "VR+": 6.4}


@dataclass(frozen=True)
class Played:
    """Volts (half of peak to peak) and each measured tooth's crossing, late by so many seconds."""

    rpm: float
    amplitude: float
    late: Array

    def degrees_off(self, taken_off: float) -> float:
        """The worst crossing in crank degrees, a fixed delay taken off."""
        return float(np.abs(self.late - taken_off).max() * 6 * self.rpm)


def slope_and_flux(pitches: Array) -> tuple[Array, Array]:
    """The sensor's voltage over its peak, and the flux over the same; by place in pitches."""
    away = pitches[:, None] - np.array(TEETH, float)
    bumps = np.exp(-(away**2) / (2 * WIDTH**2))
    slope = -(away / WIDTH**2 * bumps).sum(axis=1)
    peak = np.exp(-0.5) / WIDTH
    return slope / peak, bumps.sum(axis=1) / peak


def codes(rpm: float, pitches: Array, corner_hz: float = 0) -> Array:
    """16-bit codes; `corner_hz` adds what a high-pass of that corner will take out.

    The stage inverts, so the codes do.
    """
    slope, flux = slope_and_flux(pitches)
    flux = flux - flux[: len(flux) // 2].mean()
    wanted = slope + 2 * np.pi * corner_hz / rpm * flux
    scaled = 32767.5 - 32767 * min(rpm / FULL_SCALE_RPM, 1) * wanted
    result: Array = np.clip(np.round(scaled), 0, 65535)
    return result


def _source(name: str, net: str, times: Array, volts: Array) -> str:
    pairs = [f"{t:.9g} {v:.7g}" for t, v in zip(times, volts, strict=True)]
    rows = "\n+ ".join(" ".join(pairs[i : i + 8]) for i in range(0, len(pairs), 8))
    return f"V{name} {name} 0 PWL({rows})\nR{name} {name} {net} 40\n"


def play(
    stage: Circuit,
    rpm: float,
    corner_hz: float = 0,
    factor: Callable[[Part], float] = lambda part: 1.0,
    degrees: float = 25,
    device_models: str | None = None,
) -> Waves:
    """24 pitches at one speed, of 64 codes each."""
    places = np.arange(PITCHES * 64 + 1) / 64
    words = codes(rpm, places, corner_hz)
    return play_codes(stage, places / rpm, words, factor, degrees, device_models)


def play_codes(
    stage: Circuit,
    times: Array,
    words: Array,
    factor: Callable[[Part], float] = lambda part: 1.0,
    degrees: float = 25,
    device_models: str | None = None,
) -> Waves:
    """What 16-bit codes (n,) at evenly spaced seconds (n,) from 0 on come to, straight lines
    between them, the mean of the pulse widths in place of the pulses.
    """
    upper, lower = words // 256 / 256 * LOGIC, words % 256 / 256 * LOGIC
    pins = _source("hi", "upper", times, upper) + _source("lo", "lower", times, lower)
    step = times[1] - times[0]
    return run(
        f"{deck(stage, factor=factor)}{pins}{RAILS}{LOADS}.temp {degrees}\n",
        f"tran {step:g} {times[-1]:.9g} 0 {step:g}",
        "v(vr) v(vrp) v(vrm)",
        device_models,
    )


def played(waves: Waves, rpm: float, output: str) -> Played:
    """What was played at VR (against ground) or VR+ (against VR-)."""
    signal = waves["v(vr)"] if output == "VR" else waves["v(vrp)"] - waves["v(vrm)"]
    second_half = (waves.time > 12 / rpm) & (waves.time < 23.9 / rpm)
    falls = crossings(waves.time, signal, 0.0, rising=False) * rpm
    late = []
    for tooth in MEASURED:
        near = falls[np.abs(falls - tooth) < 0.3]
        if near.size != 1:
            raise ValueError(f"{near.size} falling crossings at tooth {tooth}, {rpm:g} rpm.")
        late.append((near[0] - tooth) / rpm)
    return Played(rpm, float(np.ptp(signal[second_half]) / 2), np.array(late))
