"""Dummy coolant, throttle and pressure signals, without which many controllers do not fire.

SPDX-License-Identifier: CERN-OHL-P-2.0

Coolant is three fixed steps, so that a trial can be repeated, and so that 14.5 V on the line burn
nothing. All is passive, on the controller's own sensor supply and sensor ground: the readings are
in ratio to its supply as a sensor's are, and nothing joins them to this board's ground.
"""

from __future__ import annotations

from circuit.circuit import Circuit
from circuit.parts import Role
from stages import catalogue as of


def signals() -> Circuit:
    sensor_ground = "SENSOR GND"
    c = Circuit("signals", "Dummy coolant, throttle and pressure signals", (sensor_ground,))
    c.port("SENSOR 5V", Role.SUPPLY, "the controller's sensor supply")
    c.port(sensor_ground, Role.SUPPLY, "the controller's sensor ground")
    for net, meaning in (("CLT", "coolant"), ("TPS", "throttle"), ("MAP", "manifold pressure")):
        c.port(net, Role.WORLD, f"to the controller's {meaning} input")
    steps = (("R1", "JP1", of.resistor("330R", 1), "HOT", "hot: some 80 degrees"),
             ("R2", "JP2", of.resistor("2.2k", 0.5), "WARM", "warm: some 25 degrees"),
             ("R3", "JP3", of.resistor("10k"), "COLD", "cold: some 10 below zero"))  # fmt: skip
    for ref, jumper, type, net, why in steps:
        c.add(jumper, of.JUMPER, "CLT", net, why=f"coolant {net.lower()}; only one of three")
        c.add(ref, type, net, sensor_ground, why=why)
    for first, name, net in ((4, "THROTTLE", "TPS"), (7, "PRESSURE", "MAP")):
        top, low, tap = f"{name} TOP", f"{name} LOW", f"{name} TAP"
        c.add(f"R{first}", of.resistor("470R"), "SENSOR 5V", top, why="most: 4.4 V")
        ends = {"1": top, "wiper": tap, "3": low}
        c.add(f"RV{first // 3}", of.trimmer("5k"), why=name.lower(), on=ends)
        c.add(f"R{first + 1}", of.resistor("470R"), low, sensor_ground, why="least: 0.4 V")
        c.add(f"R{first + 2}", of.resistor("4.7k"), tap, net, why="bears wrong wiring")
    return c
