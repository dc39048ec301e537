"""What each stage must come to, as measured values with their limits.

SPDX-License-Identifier: CERN-OHL-P-2.0

The tests hold the stages to this, planted mistakes must break it, and `generated/figures.csv` is
what the stages as described come to.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from circuit.circuit import Circuit
from circuit.parts import Kind
from circuit.spice import deck
from simulate import dummies, hall_edges, input_edges, power, reluctor_checks
from simulate.bench import RAILS
from simulate.corners import COLDEST, HOTTEST
from simulate.ngspice import run
from simulate.stress import Load, loads


@dataclass(frozen=True)
class Check:
    """A value and the range it must lie in, both ends allowed."""

    what: str
    value: float
    unit: str
    low: float
    high: float

    @property
    def passed(self) -> bool:
        return self.low <= self.value <= self.high

    def __str__(self) -> str:
        return f"{self.what}: {self.value:.4g} {self.unit}, wanted {self.low:g} to {self.high:g}"


# A pin before its program runs, at worst: an input whose pull-up is on.
WEAK = "Vweak weakly 0 3.3\nRweak weakly {} 65k\n"

# Watts that 0.625 W at 25 degrees come to at 60, less 5 mW a degree.
_TO92_HOT = 0.45

# The half of the swing is late by what these say, in microseconds, with a load of 1 nF.
_HALL_LATE = {
    (5, 1000): (1.2, 1.6, 0.08, 0.14),
    (12, 1000): (1.1, 1.4, 0.2, 0.35),
    (8, 4700): (4.4, 5.3, 0.12, 0.23),
}


def hall(stage: Circuit) -> Iterator[Check]:
    for (rail, pull_up), (least, most, least_fall, most_fall) in _HALL_LATE.items():
        found = hall_edges.edges(hall_edges.waves(stage, rail, pull_up, "1 nF"))
        name = f"{rail} V, {pull_up} ohm, 1 nF"
        yield Check(f"rise late, {name}", found.rise * 1e6, "us", least, most)
        yield Check(f"fall late, {name}", found.fall * 1e6, "us", least_fall, most_fall)
        yield Check(f"low, {name}", found.low, "V", 0, 0.4)
        yield Check(f"high, {name}", found.high, "V", rail - 0.8, rail)
    yield from _hall_tied(stage)
    pulled = f"{hall_edges.pin()}Ix 0 out 15m\n"
    low = run(deck(stage) + RAILS + pulled, "tran 1u 60u 0 1u", "v(out)").last("v(out)")
    yield Check("low with 15 mA from outside", low, "V", 0.3, 0.6)
    driven_off = run(
        deck(stage, ("JP1.5V", "JP3")) + RAILS + WEAK.format("drive") + "Rl out 0 100k\n",
        "op",
    )
    yield Check("line with the pin pulled up weakly", driven_off.last("v(out)"), "V", 4.4, 5)
    surge = "Vpin drive 0 0\nVx x 0 PULSE(0 60 10u 1u 1u 50u 1)\nRx x out 50\n" + RAILS
    found_surge = run(
        deck(stage, ("JP1.5V", "JP2")) + surge, "tran 1u 100u 0 1u", "v(line) v(pull)"
    )
    yield Check("line at a surge of 60 V over 50 ohm", found_surge["v(line)"].max(), "V", 18, 30)
    yield Check("5 V rail's pull-up then", found_surge["v(pull)"].max(), "V", 0, 6)


def _hall_tied(stage: Circuit) -> Iterator[Check]:
    """The line tied to a stiff source while the pin pulls it low."""
    closed, analysis = ("JP1.12V", "JP2"), "tran 1m 3 0 20m"
    for volts in (12, 14.5, -14.5):
        waves, found_loads = loads(stage, hall_edges.fault(volts), analysis, closed)
        yield from _borne(f"tied to {volts:g} V", found_loads, 0.8)
        if volts > 0:
            amps = abs(waves.last("i(vf)"))
            yield Check(f"current at {volts:g} V", amps * 1e3, "mA", 25, 34)
            watts = _of(found_loads, "Q1").watts
            yield Check(f"heat of Q1 at {volts:g} V", watts, "W", 0.2, 0.5)
            yield Check(f"pin at {volts:g} V", abs(waves.last("i(vpin)")) * 1e3, "mA", 0, 2)
    _, hot = loads(stage, hall_edges.fault(14.5) + f".temp {HOTTEST:g}\n", analysis, closed)
    watts = _of(hot, "Q1").watts
    yield Check("heat of Q1 at 14.5 V and 60 degrees", watts, "W", 0.2, _TO92_HOT)


def controller_input(stage: Circuit) -> Iterator[Check]:
    most = {"logic of 3.3 V": 1.2, "logic of 5 V": 0.7}
    for source in input_edges.SOURCES:
        found = input_edges.edges(input_edges.waves(stage, source))
        yield Check(f"rise late, {source}", found.rise * 1e6, "us", 0.02, most.get(source, 0.3))
        yield Check(f"fall late, {source}", found.fall * 1e6, "us", 0.1, 0.25)
    up, down = input_edges.threshold(stage)
    yield Check("threshold, rising", up, "V", 1.9, 2.5)
    yield Check("threshold, falling", down, "V", 1.8, 2.4)
    for volts in (12, 14.5, 40, -14.5):
        around = input_edges.misuse(volts)
        waves, found_loads = loads(stage, around, "tran 1u 1m 0 100u", ("JP1",))
        yield from _borne(f"line at {volts:g} V", found_loads, 0.8)
        if volts > 0:
            amps = -waves.last("i(vx)") * 1e3
            yield Check(f"line current at {volts:g} V", amps, "mA", 0, 2)
            yield Check("into 3.3 V", waves.last("i(v3)") * 1e3, "mA", -5, 0)
            yield Check("into 12 V", waves.last("i(v12)") * 1e3, "mA", -20, 0.01)
    spike = "Vx line 0 PULSE(0 12 5u 5n 5n 110n 1)\n"
    spiked = run(deck(stage) + input_edges.RAILS + spike, "tran 20n 8u 0 20n", "v(pin)")
    yield Check("pin at a spike of 12 V, 0.11 us", spiked["v(pin)"].max(), "V", 0, 0.4)
    high = run(deck(stage) + input_edges.RAILS + "Vx line 0 5\n", "op")
    yield Check("pin, line high", high.last("v(pin)"), "V", 3.1, 3.3)
    yield Check("into dead 3.3 V", input_edges.unpowered(stage, 14.5) * 1e3, "mA", 0, 0.3)
    on_usb = input_edges.RAILS.replace("V12 p12v 0 12", "V12 p12v 0 4.5")
    line = run(deck(stage, ("JP1",)) + on_usb, "op").last("v(line)")
    yield Check("open line, its pull-up on 4.5 V of USB", line, "V", 3, 4.5)
    shorted = run(deck(stage, ("JP1",)) + input_edges.RAILS + "Vx line 0 0\n", "op")
    yield Check("pull-up current", -shorted.last("i(v12)") * 1e3, "mA", 4, 8)
    driven = run(deck(stage) + input_edges.RAILS + "Vx line 0 0\nVo pin 0 3.3\n", "op")
    yield Check("pin driven by mistake", abs(driven.last("i(vo)")) * 1e3, "mA", 0, 4)


def feed(stage: Circuit) -> Iterator[Check]:
    floating = run(deck(stage) + "Vin vin 0 13.8\nRl 15 0 1k\n" + WEAK.format("on"), "op")
    yield Check("feed with the pin pulled up weakly", floating.last("v(15)"), "V", 0, 0.1)
    high = "Vin vin 0 16\nVpin on 0 3.3\n"
    waves, found_loads = loads(stage, high + "Rl 15 0 6\n", "tran 1m 100m 0 10m")
    yield from _borne("16 V", found_loads, 0.8)
    dark = "Vin vin 0 16\nVpin on 0 0\nRl 15 0 6\n"
    _, found_dark = loads(stage, dark, "tran 1m 100m 0 10m")
    yield from _borne("16 V, off", found_dark, 0.85)
    yield Check("pin current", abs(waves.last("i(vpin)")) * 1e3, "mA", 0.3, 2)
    yield Check("light", _of(found_loads, "D3").amps * 1e3, "mA", 1, 5)
    loaded = power.switched(stage)
    yield Check("on after, 6 ohm and 1000 uF", loaded.on * 1e3, "ms", 2, 5)
    yield Check("off after, 6 ohm and 1000 uF", loaded.off * 1e3, "ms", 10, 40)
    yield Check("inrush", loaded.inrush, "A", 6, 10)
    yield Check("heat of one switching on", loaded.joules, "J", 0, 0.3)
    yield Check("feed from 13.8 V at 2.3 A", loaded.volts, "V", 13.2, 13.8)
    yield Check("feed while the pin is low", loaded.left_on, "V", 0, 0.1)
    yield Check("gate against source", loaded.gate, "V", 7, 11)
    yield Check("way of F1 to melting then", loaded.fuse, "", 0.02, 0.5)
    idle = power.switched(stage, power.FEED_IDLE)
    yield Check("off after, 100 uF alone", idle.off, "s", 0.1, 0.35)
    plugged = power.plugged_in(stage)
    yield Check("feed as 16 V are plugged in, off", plugged["v(15)"].max(), "V", 0, 0.3)
    gate = plugged["v(fused)"] - plugged["v(gate)"]
    yield Check("gate against source then", gate.max(), "V", 0, 0.3)
    yield from _feed_shorted(stage)
    inductive = (
        "Vin vin 0 13.8\nVpin on 0 PULSE(3.3 0 10m 1u 1u 1 2)\nLl 15 load 50m\nRl load 0 10\n"
        "Rd 15 0 10k\n"
    )
    kick = run(deck(stage) + inductive, "tran 10u 60m 0 50u", "v(15)")
    yield Check("feed when 50 mH are switched off", kick["v(15)"].min(), "V", -1.2, 0)


def _feed_shorted(stage: Circuit) -> Iterator[Check]:
    """Terminal 15 on 31; 150 degrees at the die leave it 25."""
    for what, source, short, degrees in (
        ("15 shorted, battery, 0 degrees", power.BATTERY, power.SHORTED, COLDEST),
        ("15 shorted while on, battery", power.BATTERY, power.SHORTED_LATER, 25),
        ("15 shorted, supply limits to 3 A", power.LIMITED, power.SHORTED, 25),
    ):
        found = power.shorted(stage, source, short, degrees=degrees)
        yield Check(f"die of Q1 above its air, {what}", found.kelvin, "K", 5, 110)
        yield Check(f"heat of Q1 in all, {what}", found.joules, "J", 0, 7)
        yield Check(f"heat of Q1 in the end, {what}", found.watts, "W", 0, 0.1)
        yield Check(f"way of F1 to melting, {what}", found.fuse, "", 0, 0.5)
        if short is power.SHORTED:
            yield Check(f"off after, {what}", found.off * 1e3, "ms", 30, 80)
    over = power.shorted(stage, power.BATTERY, "Rover 15 0 1.2\n")
    yield Check("die of Q1 above its air, 1.2 ohm at 15, battery", over.kelvin, "K", 5, 90)
    yield Check("F1 melts after, 1.2 ohm at 15, battery", over.off * 1e3, "ms", 80, 180)
    dragged = power.LIMITED + "Vpin on 0 PULSE(0 3.3 5m 1u 1u 2 4)\n"
    for volts, low, high in ((6, -0.1, 0.1), (11, 10, 14)):
        load = f"Rload 15 0 {volts / 3:g}\n"
        line = run(deck(stage) + dragged + load, "tran 50u 200m 0 200u", "v(15)").last("v(15)")
        yield Check(f"15 in the end, {volts:g} V at 3 A", line, "V", low, high)


def supply(stage: Circuit) -> Iterator[Check]:
    for volts in (12, 14.5):
        found = power.supplied(stage, volts)
        yield Check(f"+12V at {volts:g} V", found.last("v(p12v)"), "V", volts - 0.8, volts)
        yield Check(f"+8V at {volts:g} V", found.last("v(p8v)"), "V", 7.8, 8.2)
        yield Check(f"+5V at {volts:g} V", found.last("v(p5v)"), "V", 4.9, 5.1)
        yield Check(f"+15V at {volts:g} V", found.last("v(p15v)"), "V", 14.5, 15.5)
        yield Check(f"-15V at {volts:g} V", found.last("v(m15v)"), "V", -15.5, -14.5)
        yield Check(f"current at {volts:g} V", -found.last("i(vs)") * 1e3, "mA", 100, 450)
        yield Check(f"gate of Q1 at {volts:g} V", found.last("v(vin)") - found.last("v(gate)"),
                    "V", 8, 13)  # fmt: skip
    for volts in (14.5, -14.5):
        waves, found_loads = loads(
            stage, power.source(volts) + power.RAIL_LOADS, "tran 1m 200m 0 20m"
        )
        yield from _borne(f"supply at {volts:g} V", found_loads, 0.8)
    yield Check("current, reversed", abs(waves.last("i(vs)")) * 1e3, "mA", 0, 10)
    yield Check("VIN, reversed", waves.last("v(vin)"), "V", -1.2, 0.1)
    yield Check("+12V, reversed", waves.last("v(p12v)"), "V", -1.2, 0.1)
    lit = power.supplied(stage, 12, "all @d3[id]")
    yield Check("light", lit.last("@d3[id]") * 1e3, "mA", 1, 5)
    hot = power.supplied(stage, 16, "all @d2[id]")
    yield Check("gate's zener at 16 V", abs(hot.last("@d2[id]")) * 1e3, "mA", 0, 1)
    yield Check("melting integral of F2 at switching on", power.inrush(stage), "A2s", 0.005, 0.1)
    for name in power.SURGES:
        found = power.surged(stage, name)
        across = abs(found["v(vin)"] - found["v(fused)"]).max()
        yield Check(f"across Q1, surge {name}", across, "V", 0, 45)
        behind = (found["v(p12v)"] - found["v(share)"]).max()
        yield Check(f"across D4, surge {name}", behind, "V", -0.5, 36)
        yield Check(f"VIN, surge {name}", found["v(vin)"].max(), "V", 5, 30)
        gate = abs(found["v(vin)"] - found["v(gate)"]).max()
        yield Check(f"gate of Q1, surge {name}", gate, "V", 5, 16)
        low = found["v(p12v)"].min()
        yield Check(f"least +12V, surge {name}", low, "V", 7, 12)


def signals(stage: Circuit) -> Iterator[Check]:
    limits = {"hot": (0.5, 0.8), "warm": (2.3, 2.7), "cold": (3.9, 4.3)}
    for coolant, (low, high) in limits.items():
        found = dummies.readings(stage, 0.5, coolant)
        yield Check(f"coolant {coolant}", found["CLT"], "V", low, high)
    for turned, (low, high) in ((0.0, (0.3, 0.5)), (1.0, (4.2, 4.6))):
        found = dummies.readings(stage, turned)
        for net in ("TPS", "MAP"):
            yield Check(f"{net} turned to {turned:g}", found[net], "V", low, high)
            ohms = dummies.kilohms(stage, net, turned)
            yield Check(f"{net} to its ground, turned to {turned:g}", ohms, "kohm", 4, 9)
    for net in ("clt", "tps", "map"):
        for turned, jumper in ((0.02, "JP1"), (0.98, "JP3")):
            around = f"V5 sensor_5v 0 5\nRg sensor_gnd 0 1m\nVx {net} 0 PWL(0 0 1m 14.5)\n"
            waves, found_loads = loads(stage, around, "tran 1m 20m 0 1m", (jumper,), turned=turned)
            name = f"{net} at 14.5 V, {jumper}, turned to {turned:g}"
            yield from _borne(name, found_loads, 0.8)
            amps = abs(waves.last("i(vx)")) * 1e3
            yield Check(f"current of {name}", amps, "mA", 1, 50)


def reluctor(stage: Circuit) -> Iterator[Check]:
    for what, value, unit, low, high in reluctor_checks.measured(stage):
        yield Check(what, value, unit, low, high)
    for what, around in reluctor_checks.FAULTS.items():
        _, found_loads = loads(stage, around, "tran 10u 20m 0 1m")
        yield from _borne(what, found_loads, 0.8)
    for what, value, unit, low, high in reluctor_checks.core_figures(stage):
        yield Check(what, value, unit, low, high)


def _of(found: list[Load], ref: str) -> Load:
    return next(load for load in found if load.part.ref == ref)


def _borne(what: str, found: list[Load], share: float) -> Iterator[Check]:
    """One check: nothing beyond a share of its rating; the worst is named."""
    fuses = (Kind.FUSE, Kind.PTC, Kind.CLAMP)
    shares = {x.part.ref: max(x.shares()) for x in found if x.part.type.kind not in fuses}
    worst = max(shares, key=lambda ref: shares[ref])
    yield Check(f"{what}: {worst}'s share of its rating", shares[worst], "", 0, share)


STAGES: dict[str, Callable[[Circuit], Iterator[Check]]] = {
    "hall": hall,
    "input": controller_input,
    "vr": reluctor,
    "feed": feed,
    "signals": signals,
    "supply": supply,
}
