"""The VR output by small-signal analysis, in shorts, and with its carrier.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from circuit.circuit import Circuit
from circuit.spice import deck
from simulate.bench import crossings
from simulate.corners import OFFSET
from simulate.models import models
from simulate.ngspice import Waves, run
from simulate.reluctor_waves import LOADS, RAILS

_IDLE = "Vlo lo 0 1.65\nRlo lo lower 40\nVhi hi 0 1.65\nRhi hi upper 40\n"
# Insulation of a polyester film: ohms times farads, the least that its class promises, from memory.
_FILM_SECONDS = 1250
_NO_BOARD = "Rlo lower 0 1g\nRhi upper 0 1g\nIhum 0 mix SIN(0 50n 50)\n"
_WAKING = _IDLE.replace(" 1.65\n", " PWL(0 0 100m 0 101m 1.65)\n")
_FULL = _IDLE.replace("Vhi hi 0 1.65", "Vhi hi 0 SIN(1.65 1.65 1k)")
FAULTS = {
    f"{output} {what}": _IDLE + RAILS + tie
    for output, net in (("VR", "vr"), ("VR+", "vrp"))
    for what, tie in (
        ("shorted", f"Rs {net} 0 0.1\nRg vrm 0 0.1\n"),
        ("tied to 12 V", f"Vs s 0 PWL(0 0 1m 12)\nRs s {net} 0.1\nRg vrm 0 0.1\n"),
        ("tied to 14.5 V", f"Vs s 0 PWL(0 0 1m 14.5)\nRs s {net} 0.1\nRg vrm 0 0.1\n"),
        ("tied to -14.5 V", f"Vs s 0 PWL(0 0 1m -14.5)\nRs s {net} 0.1\nRg vrm 0 0.1\n"),
    )
}

_MIDDLE_GAIN = 6.32
_PLACES = {"1 Hz": 1.0, "8 Hz": 8.0, "1 kHz": 1e3, "10 kHz": 1e4, "50 kHz": 5e4, "488 kHz": 488e3}
# Gain from the upper byte's pin to each output, by frequency.
_GAINS = {
    "VR": {
        "1 Hz": (4.5, 5.8),
        "8 Hz": (5.9, 6.6),
        "1 kHz": (6.1, 6.6),
        "10 kHz": (5.6, 6.7),
        "50 kHz": (2.4, 3.2),
        "488 kHz": (0, 0.005),
    },
    "VR+": {
        "1 Hz": (0.6, 1.2),
        "8 Hz": (4.5, 5.35),
        "1 kHz": (6.0, 6.5),
        "10 kHz": (5.6, 6.7),
        "50 kHz": (3.4, 4.5),
        "488 kHz": (0, 0.005),
    },
}


def response(stage: Circuit, byte: str) -> Waves:
    """The small signal at the outputs for 1 V at one byte's pin."""
    drive = _IDLE.replace(f"V{byte} {byte} 0 1.65", f"V{byte} {byte} 0 DC 1.65 AC 1")
    return run(
        deck(stage) + drive + RAILS + LOADS, "ac dec 40 1 1meg", "v(vr) v(vrp) v(vrm) v(drive)"
    )


def _at_full_scale(stage: Circuit) -> Iterator[tuple[str, float, str, float, float]]:
    """A sine of 1 kHz over all of the codes: the swing with the converter's rails at their least,
    and what R6 bears while the output is tied to 14.5 V.
    """
    least_rails = RAILS.replace("15\n", "14.5\n")
    swung = run(deck(stage) + _FULL + least_rails + LOADS, "tran 10u 12m 10m 10u", "v(drive)")
    yield "swing of U2 at full scale", abs(swung["v(drive)"]).max(), "V", 11, 12
    tied = "Vs s 0 14.5\nRs s vr 0.1\nRg vrm 0 0.1\n"
    bears = run(deck(stage) + _FULL + RAILS + tied, "tran 10u 12m 10m 10u", "v(drive) v(vr)")
    watts = (bears["v(vr)"] - bears["v(drive)"]) ** 2 / stage.part("R6").type.number
    mean = np.trapezoid(watts, bears.time) / np.ptp(bears.time)
    yield "heat of R6 then, VR tied to 14.5 V", float(mean), "W", 0.1, 0.4


def core_shift(stage: Circuit, teeth: int, mv_per_rpm: float) -> float:
    """Crank degrees by which the core at its limits makes VR+ cross earlier, at 50 rpm: what a
    tenth of the voltage does is taken off.
    """
    hertz = 50 * teeth / 60
    strong, weak = (_lead(stage, hertz, share * mv_per_rpm * 0.05) for share in (1, 0.1))
    return (strong - weak) * 6 * 50


def core_figures(stage: Circuit) -> Iterator[tuple[str, float, str, float, float]]:
    """Below and above what the core bears."""
    for teeth, low, high in ((24, 0, 0.2), (16, 0.8, 1.6)):
        what = f"VR+ early by its core at 50 rpm, 20 mV a rpm, {teeth} teeth"
        yield what, core_shift(stage, teeth, 20), "degrees", low, high


def _lead(stage: Circuit, hertz: float, volts: float) -> float:
    """Seconds from VR+'s fall through zero to VR's, of a sine with these volts at its peak."""
    sine = f"SIN(1.65 {volts / _MIDDLE_GAIN:g} {hertz:g})"
    drive = _IDLE.replace("Vhi hi 0 1.65", f"Vhi hi 0 {sine}")
    step, end = 1 / hertz / 400, 0.4 + 2 / hertz
    around = deck(stage) + drive + RAILS + LOADS
    found = run(around, f"tran {step:g} {end:g} 0.4 {step:g}", "v(vr) v(vrp) v(vrm)")
    falls = crossings(found.time, found["v(vr)"], 0, rising=False)
    floating = crossings(found.time, found["v(vrp)"] - found["v(vrm)"], 0, rising=False)
    return float(falls[-1] - floating[floating < falls[-1]][-1])


def _gain(found: Waves, output: str, hertz: float) -> complex:
    place = int(abs(found["frequency"].real - hertz).argmin())
    if output == "VR":
        return complex(found["v(vr)"][place])
    return complex(found["v(vrp)"][place] - found["v(vrm)"][place])


def measured(stage: Circuit) -> Iterator[tuple[str, float, str, float, float]]:
    """Values with their limits: what, value, unit, least, most."""
    upper, lower = response(stage, "hi"), response(stage, "lo")
    for output, gains in _GAINS.items():
        for name, (low, high) in gains.items():
            gain = abs(_gain(upper, output, _PLACES[name]))
            yield f"gain to {output} at {name}", gain, "", low, high
        sign = _gain(upper, output, 1e3).real
        yield f"sign of {output} (the stage inverts)", sign, "", -7, -6
    weight = abs(_gain(upper, "VR", 1e3) / _gain(lower, "VR", 1e3))
    yield "upper byte over lower", weight, "", 250, 260
    yield from _at_full_scale(stage)
    around = deck(stage) + _IDLE + RAILS + LOADS
    leak = f"Rleak mean ac {_FILM_SECONDS / stage.part('C3').type.number:g}\n"
    rest = run(around + leak, "op", device_models=models(offset=OFFSET))
    yield "VR at rest, U2 with its worst offset, C3 leaking", rest.last("v(vr)") * 1e3, "mV", -6, 6
    yield "current in T1 then", abs(rest.last("v(drive)")) / 72 * 1e3, "mA", 0, 0.1
    hum = run(deck(stage) + _NO_BOARD + RAILS + LOADS, "tran 100u 140m 100m 200u", "v(vr)")
    yield "VR without a board, 50 nA of hum", abs(hum["v(vr)"]).max() * 1e3, "mV", 0, 50
    woken = run(deck(stage) + _WAKING + RAILS + LOADS, "tran 1m 8 0 2m", "v(vr)")
    yield "VR as the board wakes", woken["v(vr)"].min(), "V", -13, 0
    loud = woken.time[abs(woken["v(vr)"]) > 5e-3]
    yield "VR quiet after that (5 mV)", loud.max(initial=0.1) - 0.1, "s", 1, 4
    step = _IDLE.replace("Vhi hi 0 1.65", "Vhi hi 0 PULSE(1.65 1.75 1m 1u 1u 1 2)")
    stepped = run(deck(stage) + step + RAILS + LOADS, "tran 10u 2m 0 20u", "v(vr)")
    yield "VR 0.5 ms after a step of 0.1 V", stepped.at("v(vr)", 1.5e-3), "V", -0.66, -0.6
    yield "filter at rest", rest.last("v(mean)"), "V", 1.45, 1.55
