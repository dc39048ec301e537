"""The supply and the controller's feed: switching, surges, reversal.

SPDX-License-Identifier: CERN-OHL-P-2.0

The surges have the shape of the test pulses 1 and 2a of ISO 7637-2 for 12 V systems, from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from circuit.circuit import Circuit
from circuit.parts import Part
from circuit.spice import deck
from simulate.bench import first_crossing
from simulate.heat import TO220_POWER, rise
from simulate.ngspice import Waves, run

# What hangs on the rails: six strong pull-ups low, two filters, two VR outputs.
RAIL_LOADS = (
    "R8 p8v 0 133\nR5 p5v 0 166\nRp p15v 0 1.2k\nRm m15v 0 1.2k\nR12 p12v 0 200\nRv vin 0 10k\n"
)
SURGES = {
    "positive, 50 V over 2 ohm, 50 us": ("PWL(0 0 1m 0 1.001m 38 1.05m 4 1.2m 0)", 2),
    "negative, 100 V over 10 ohm, 2 ms": ("PWL(0 0 1m 0 1.001m -112 3m -12 4m 0)", 10),
}


def supplied(stage: Circuit, volts: float, save: str = "all") -> Waves:
    """The supply at a steady voltage at its terminals, all rails loaded."""
    return run(deck(stage) + source(volts) + RAIL_LOADS, "op", save)


def source(volts: float) -> str:
    """A bench supply at the terminals; its minus and the star point are joined by W1 alone."""
    return f"Vs s 31 {volts}\nRs s 30 50m\nRg 31 0 1g\n"


def surged(stage: Circuit, surge: str, volts: float = 12) -> Waves:
    """A surge on top of the supply, over its own source resistance."""
    shape, ohms = SURGES[surge]
    surging = f"Vs s x {volts}\nVx x 31 {shape}\nRs s 30 {ohms}\nRg 31 0 1g\n"
    return run(deck(stage) + surging + RAIL_LOADS, "tran 1u 5m 0 5u")


def inrush(stage: Circuit, volts: float = 14.5) -> float:
    """The integral of the current's square (A2s) as the supply is switched on."""
    switched_on = f"Vs s 31 PWL(0 0 1m 0 1.01m {volts})\nRs s 30 50m\nRg 31 0 1g\n{RAIL_LOADS}"
    found = run(deck(stage) + switched_on, "tran 10u 20m 0 20u", "i(vs)")
    return float(np.trapezoid(found["i(vs)"] ** 2, found.time))


@dataclass(frozen=True)
class Switching:
    """Seconds from the pin's edge until the feed is at 90 % and at 1 V; amperes; joules; volts; the
    fuse's nearness to melting (1).
    """

    on: float
    off: float
    inrush: float
    joules: float
    volts: float
    left_on: float
    gate: float
    fuse: float


FEED_LOAD = "Rload 15 0 6\nCload 15 0 1m\n"
FEED_IDLE = "Cload 15 0 100u\n"
PLUGGED = (
    "Vin source 0 PWL(0 0 1m 0 1.01m 16)\nRs source vin 50m\nVpin on 0 0\n"
    "Rl 15 0 100\nCl 15 0 10u\n"
)


def plugged_in(stage: Circuit) -> Waves:
    """16 V come within 10 us while the feed is off."""
    return run(deck(stage) + PLUGGED, "tran 10u 50m 0 20u", "v(15) v(gate) v(fused)")


# Terminal 15 on 31 through 50 milliohm: from the start, or once the feed has been on for 0.1 s. The
# supply is a battery, or a bench supply that limits its current.
SHORTED = "Rshort 15 0 50m\n"
SHORTED_LATER = (
    "Rload 15 0 6\nCload 15 0 1m\nSshort 15 0 shut 0 SHUT\nVshut shut 0 PULSE(0 1 105m 1u 1u 1 2)\n"
    ".model SHUT SW(RON=50m ROFF=1meg VT=0.5)\n"
)
_SWITCH = "v(15) v(sensed) v(xf1.h) @mq1[id]"
BATTERY = "Vin source 0 14.5\nRs source vin 50m\n"
LIMITED = "Ilimit 0 vin 3\nDfull vin full DRECTIFIER\nVfull full 0 13\nCs vin 0 470u\n"


@dataclass(frozen=True)
class Short:
    """The switch's most kelvin above its air, the joules it takes, the fuse's nearness to melting
    (1), watts and volts at the end; seconds from ON until no ampere flows any more.
    """

    kelvin: float
    joules: float
    fuse: float
    watts: float
    volts: float
    off: float


def shorted(
    stage: Circuit,
    source: str,
    short: str,
    factor: Callable[[Part], float] = lambda part: 1.0,
    device_models: str | None = None,
    degrees: float = 25,
) -> Short:
    """The feed switched on at 5 ms, terminal 15 shorted; 0.2 s of it."""
    around = f"{source}Vpin on 0 PULSE(0 3.3 5m 1u 1u 2 4)\n{short}.temp {degrees:g}\n"
    lines = deck(stage, factor=factor) + around
    found = run(lines, "tran 20u 200m 0 100u", _SWITCH, device_models)
    amps = np.abs(found["@mq1[id]"])
    watts = amps * np.abs(found["v(sensed)"] - found["v(15)"])
    return Short(
        kelvin=float(rise(found.time, watts, TO220_POWER).max()),
        joules=float(np.trapezoid(watts, found.time)),
        fuse=float(found["v(xf1.h)"].max()),
        watts=float(watts[-1]),
        volts=found.last("v(15)"),
        off=float(found.time[amps > 1].max(initial=0)) - 5e-3,
    )


def feed_on(stage: Circuit, load: str = FEED_LOAD, volts: float = 13.8) -> Waves:
    """The feed switched on at 5 ms, off at 105 ms."""
    around = (
        f"Vin source 0 {volts}\nRs source vin 50m\n"
        "Vpin pin 0 PULSE(0 3.3 5m 1u 1u 100m 1)\nRpin pin on 30\n" + load
    )
    return run(deck(stage) + around, "tran 20u 800m 0 200u", "all @mq1[id]")


def switched(stage: Circuit, load: str = FEED_LOAD, volts: float = 13.8) -> Switching:
    """The feed switched on at 5 ms, off at 105 ms, into 2.3 A and 1000 uF."""
    found = feed_on(stage, load, volts)
    time, line = found.time, found["v(15)"]
    steady = found.at("v(15)", 0.1)
    amps = np.abs(found["@mq1[id]"])
    watts = amps * np.abs(found["v(sensed)"] - line)
    early = time < 50e-3
    return Switching(
        on=first_crossing(time, line, 0.9 * steady, True, 5e-3) - 5e-3,
        off=first_crossing(time, line, 1, False, 105e-3) - 105e-3,
        inrush=float(amps[early].max()),
        joules=float(np.trapezoid(watts[early], time[early])),
        volts=steady,
        left_on=float(line[time < 5e-3].max()),
        gate=float(np.abs(found["v(gate)"] - found["v(fused)"]).max()),
        fuse=float(found["v(xf1.h)"].max()),
    )
