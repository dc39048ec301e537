"""The generic parts that the stages are made of.

SPDX-License-Identifier: CERN-OHL-P-2.0

Values, ratings, pin orders and classes are from memory of what such parts usually are: check the
data sheet of the very part in your hand, its pin order above all.
"""

from __future__ import annotations

from dataclasses import replace

from circuit.parts import Kind, PartType, Pin, Rating, Role

TWO = (Pin("1", "1"), Pin("2", "2"))
_AXIAL = {
    0.25: "axial 6 mm, quarter watt",
    0.5: "axial 9 mm, half watt",
    1: "axial 12 mm, one watt",
    2: "axial 16 mm, two watts",
}


_FILMS = ("carbon film, 5 %, same or more watts", "metal oxide film, 1 or 2 %")


def resistor(value: str, watts: float = 0.25, substitutes: tuple[str, str] = _FILMS) -> PartType:
    """A metal film resistor; the corners that are simulated take 5 %."""
    rating = Rating(volts=250, watts=watts)
    return PartType(Kind.RESISTOR, value, _AXIAL[watts], TWO, substitutes, rating)


def precise(value: str, first: str, second: str) -> PartType:
    """One whose value is on the drawing's word."""
    return replace(resistor(f"{value}, 1 %", substitutes=(first, second)), tolerance=0.01)


SENSES = ("wirewound, 2 W or more", "two of 0.15 ohm, 1 W, side by side")
R_10K = precise("10k", "metal film, 0.5 or 0.1 %", "two of 20k, 1 %, side by side")
R_2M55 = precise("2.55M", "2.4M and 150k in series, 1 %", "2.2M and 348k in series, 1 %")
R_47K5 = precise("47.5k", "47k and 475R in series, 1 %", "33.2k and 14.3k in series, 1 %")
R_365K = precise("365k", "332k and 33.2k in series, 1 %", "182k and 182k in series, 1 %")


def ceramic(value: str) -> PartType:
    substitutes = (
        "multilayer ceramic, C0G, 50 V or more",
        "polystyrene or mica film, 50 V or more",
    )
    if value.endswith("n"):
        substitutes = ("multilayer ceramic, X7R, 50 V or more", "polyester film, 63 V or more")
    return PartType(Kind.CAPACITOR, value, "disc 5 mm", TWO, substitutes, Rating(volts=50))


def film(value: str) -> PartType:
    """Where direct current must not leak through."""
    return PartType(
        Kind.CAPACITOR,
        f"{value} polyester",
        "film box 7 mm",
        TWO,
        ("two of half the value side by side, polyester", "polypropylene film, same value"),
        Rating(volts=50),
        tolerance=0.1,
    )


_SMALL_CANS = ("solid polymer, same volts or more", "tantalum, twice the volts")
RESERVES = ("solid polymer, same volts or more", "two of half the value side by side")


def electrolytic(
    value: str,
    volts: float,
    package: str = "radial can 8 mm",
    substitutes: tuple[str, str] = _SMALL_CANS,
) -> PartType:
    """`RESERVES` where a supply is plugged in: its inrush sets fire to tantalum."""
    pins = (Pin("+", "1"), Pin("-", "2"))
    return PartType(
        Kind.CAPACITOR, value, package, pins, substitutes, Rating(volts=volts), tolerance=0.2
    )


ANODE_CATHODE = (Pin("A", "2"), Pin("K", "1"))


def _diode(
    value: str, package: str, model: str, rating: Rating, first: str, second: str
) -> PartType:
    return PartType(Kind.DIODE, value, package, ANODE_CATHODE, (first, second), rating, model)


def _clamp(
    value: str, package: str, model: str, rating: Rating, first: str, second: str
) -> PartType:
    return PartType(Kind.CLAMP, value, package, TWO, (first, second), rating, model)


_CBE = (Pin("C", "1"), Pin("B", "2", Role.INPUT), Pin("E", "3"))


def _transistor(
    value: str, model: str, rating: Rating, first: str, second: str, kind: Kind = Kind.NPN
) -> PartType:
    return PartType(kind, value, "TO-92, leads spread", _CBE, (first, second), rating, model)


def _ptc(value: str, model: str, rating: Rating, first: str, second: str) -> PartType:
    return PartType(Kind.PTC, value, "disc 5 mm", TWO, (first, second), rating, model)


_OP_AMP_PINS = (
    Pin("in+", "3", Role.INPUT),
    Pin("in-", "2", Role.INPUT),
    Pin("V+", "8", Role.SUPPLIED),
    Pin("V-", "4", Role.SUPPLIED),
    Pin("out", "1", Role.OUTPUT),
)
_OP_AMP_UNITS = (("3", "2", "8", "4", "1"), ("5", "6", "8", "4", "7"))


def _dual_op_amp(value: str, model: str, rating: Rating, first: str, second: str) -> PartType:
    pins, units = _OP_AMP_PINS, _OP_AMP_UNITS
    return PartType(Kind.IC, value, "DIP-8", pins, (first, second), rating, model, units)


# fmt: off
# Value, package where it differs, model; ratings; two classes that may stand in.
SIGNAL_DIODE = _diode(
    "1N4148 class, 100 V 0.15 A", "DO-35", "DSIGNAL",
    Rating(volts=100, amps=0.15, watts=0.4),
    "1N914 class", "BAV21 class, 200 V",
)
SCHOTTKY = _diode(
    "BAT85 class, Schottky, 30 V 0.2 A", "DO-35", "DSCHOTTKY",
    Rating(volts=30, amps=0.2, watts=0.2),
    "BAT42 class, 30 V", "BAT46 class, 100 V",
)
RECTIFIER = _diode(
    "1N4004 class, 400 V 1 A", "DO-41", "DRECTIFIER",
    Rating(volts=400, amps=1, watts=1),
    "1N4007 class, 1000 V 1 A", "UF4004 class, fast, 400 V 1 A",
)
POWER_SCHOTTKY = _diode(
    "1N5819 class, Schottky, 40 V 1 A", "DO-41", "DPOWER",
    Rating(volts=40, amps=1, watts=0.8),
    "1N5822 class, 40 V 3 A", "SB140 class, 40 V 1 A",
)
ZENER_12 = _diode(
    "zener 12 V, 0.5 W", "DO-35", "DZENER12",
    Rating(amps=0.03, watts=0.5),
    "zener 12 V, 1 W", "zener 11 V, 0.5 W",
)
CLAMP_ONE_WAY = _diode(
    "surge clamp, one way, 18 V stand-off, 600 W", "DO-15", "DCLAMP18",
    Rating(volts=22, amps=2, watts=3),
    "zener 20 V, 5 W", "surge clamp, one way, 17 V stand-off, 400 W",
)
CLAMP_TWO_WAY = _clamp(
    "surge clamp, two ways, 18 V stand-off, 600 W", "DO-15", "CLAMP2",
    Rating(volts=18, watts=3),
    "two zeners 20 V, 1 W, cathode to cathode", "surge clamp, two ways, 17 V stand-off, 400 W",
)
CLAMP_SUPPLY = _clamp(
    "surge clamp, two ways, 18 V stand-off, 1500 W", "DO-201", "CLAMP2BIG",
    Rating(volts=18, watts=5),
    "surge clamp, two ways, 18 V stand-off, 3000 W",
    "two one-way clamps, 18 V stand-off, 1500 W, cathode to cathode",
)
NPN_SWITCH = _transistor(
    "BC337 class, NPN, 45 V 0.8 A", "QSWITCH",
    Rating(volts=45, amps=0.8, watts=0.625),
    "PN2222A class, 40 V 0.6 A (pins E-B-C)", "BC639 class, 80 V 1 A (pins E-C-B)",
)
NPN_SMALL = _transistor(
    "BC547 class, NPN, 45 V 0.1 A", "QSMALL",
    Rating(volts=45, amps=0.1, watts=0.5),
    "2N3904 class, 40 V 0.2 A (pins E-B-C)", "BC337 class, 45 V 0.8 A",
)
PNP_SMALL = _transistor(
    "BC557 class, PNP, 45 V 0.1 A", "QPNP",
    Rating(volts=45, amps=0.1, watts=0.5),
    "2N3906 class, 40 V 0.2 A (pins E-B-C)", "BC327 class, 45 V 0.8 A", Kind.PNP,
)
PTC_100 = _ptc(
    "holds 0.1 A, trips at 0.2 A, 60 V", "PTC100",
    Rating(volts=60, amps=0.1),
    "holds 0.1 A, 72 V", "holds 0.14 A, 60 V",
)
PTC_500 = _ptc(
    "holds 0.5 A, trips at 1 A, 60 V", "PTC500",
    Rating(volts=60, amps=0.5),
    "holds 0.5 A, 30 V", "fuse 0.5 A, slow, with holder",
)
OP_AMP_5V = _dual_op_amp(
    "dual op-amp, 5 V, rail-to-rail in and out, 5 to 10 MHz", "OPAMP5",
    Rating(volts=5.5),
    "dual CMOS op-amp, rail-to-rail in and out, 3 MHz or more",
    "two singles of that class (other pins)",
)
OP_AMP_15V = _dual_op_amp(
    "TL072 class, dual op-amp, JFET inputs, offset 3 mV at most", "OPAMP15",
    Rating(volts=36, watts=0.68),
    "LF412 class", "OPA2134 class",
)
# fmt: on

LED_GREEN = PartType(
    Kind.LED,
    "green, 2 mA",
    "radial LED 3 mm",
    ANODE_CATHODE,
    ("yellow, 2 mA", "red, 2 mA"),
    Rating(volts=5, amps=0.02, watts=0.06),
    "DLED",
)

PFET = PartType(
    Kind.PFET,
    "P-channel, 55 V 70 A, 20 milliohm at 10 V, 150 W",
    "TO-220",
    (Pin("D", "2"), Pin("G", "1", Role.INPUT), Pin("S", "3")),
    ("P-channel, 60 V 60 A, 25 milliohm, 150 W", "P-channel, 55 V 40 A, 20 milliohm, 150 W"),
    Rating(volts=55, amps=12, watts=2),
    "PFETPOWER",
)

FUSES = (
    "blade type with its holder, same amps, fast",
    "6.3 mm by 32 mm with its holder, same amps, fast",
)


def fuse(value: str, amps: float) -> PartType:
    rating, model = Rating(volts=32, amps=amps), f"FUSE AMPS={amps:g}"
    return PartType(Kind.FUSE, value, "fuse holder", TWO, FUSES, rating, model)


JUMPER = PartType(
    Kind.JUMPER,
    "pin strip and cap",
    "pin strip 2",
    TWO,
    ("DIP switch", "a soldered wire"),
    Rating(volts=50, amps=1),
)
SELECTOR = PartType(
    Kind.JUMPER,
    "three pins around one, and one cap",
    "pin strip 3 and a pin beside its middle",
    (Pin("5V", "1"), Pin("8V", "2"), Pin("12V", "3"), Pin("middle", "4")),
    ("rotary switch, one pole, three ways", "a soldered wire"),
    Rating(volts=50, amps=1),
)
LINK = PartType(
    Kind.LINK, "link", "wire", TWO, ("copper wire 0.5 mm2", "zero-ohm resistor, 1 W"), Rating()
)


def trimmer(value: str) -> PartType:
    pins = (Pin("1", "1"), Pin("wiper", "2"), Pin("3", "3"))
    substitutes = ("panel potentiometer, linear", "two fixed resistors in the ratio you want")
    return PartType(
        Kind.TRIMMER,
        value,
        "trimmer 9 mm",
        pins,
        substitutes,
        Rating(volts=50, watts=0.2),
        "TRIMMER",
    )


_GATES = ((1, 2), (3, 4), (5, 6), (9, 8), (11, 10), (13, 12))
INVERTER = PartType(
    Kind.IC,
    "74HC14 class, six Schmitt inverters",
    "DIP-14",
    (
        Pin("in", "1", Role.INPUT),
        Pin("out", "2", Role.OUTPUT),
        Pin("VCC", "14", Role.SUPPLIED),
        Pin("GND", "7", Role.SUPPLIED),
    ),
    ("74AC14 class", "CD40106 class, slower by some 0.3 us"),
    Rating(volts=6),
    "SCHMITT",
    units=tuple((str(a), str(y), "14", "7") for a, y in _GATES),
)
REGULATOR_PINS = (
    Pin("in", "1", Role.SUPPLIED),
    Pin("GND", "2", Role.SUPPLIED),
    Pin("out", "3", Role.SUPPLY),
)


def regulator(volts: int) -> PartType:
    return PartType(
        Kind.IC,
        f"780{volts} class, {volts} V 1 A",
        "TO-220",
        REGULATOR_PINS,
        (f"78M0{volts} class, 0.5 A", "LM317 class with its two resistors (other pins)"),
        Rating(volts=35, watts=1.5),
        f"REGULATOR{volts}",
    )


CONVERTER = PartType(
    Kind.IC,
    "converter, isolated, regulated, 9 to 18 V in, plus and minus 15 V out, 2 W",
    "SIP-8",
    (
        Pin("in-", "1", Role.SUPPLIED),
        Pin("in+", "2", Role.SUPPLIED),
        Pin("+15", "6", Role.SUPPLY),
        Pin("0", "7"),
        Pin("-15", "8", Role.SUPPLY),
    ),
    ("the same with 3 W", "the same in a DIP-24 (other pins)"),
    Rating(volts=18),
    "CONVERTER15",
)
TRANSFORMER = PartType(
    Kind.TRANSFORMER,
    "audio line, 600 ohm to 600 ohm, 2 H or more, 2.5 V at 50 Hz",
    "line transformer",
    (Pin("P1", "1"), Pin("P2", "2"), Pin("S1", "3"), Pin("S2", "4")),
    ("audio line, 1 to 1, 1 kilohm", "audio line, 1 to 1, 10 kilohm, 20 H or more"),
    Rating(volts=50),
    "LINE11",
)


def terminals(count: int) -> PartType:
    """Screw terminals, numbered from 1."""
    pins = tuple(Pin(str(n), str(n), Role.WORLD) for n in range(1, count + 1))
    return PartType(
        Kind.TERMINAL,
        f"{count} screw terminals, 5.08 mm",
        f"screw terminals {count}",
        pins,
        ("pluggable terminals, 5.08 mm", "spring terminals, 5.08 mm"),
        Rating(volts=150, amps=8),
    )


def socket(pins: tuple[Pin, ...]) -> PartType:
    """A socket strip for one side of the RP2040 board, with those of its pins that are used."""
    return PartType(
        Kind.TERMINAL,
        "socket strip, 20 ways",
        "socket strip 20",
        pins,
        ("two strips of 10 ways", "no socket: the board's pins soldered"),
        Rating(volts=50, amps=1),
    )
