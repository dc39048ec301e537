"""A schematic laid out by hand and held to its circuit by its own geometry.

Symbols and texts come from the circuit's parts; places and wires are the hand's. What is joined
on paper is worked out again from the lines alone, so a wire too few, too many or across a pin is
seen as a difference from the circuit.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from typing import Literal

import schemdraw
import schemdraw.elements as elm
from schemdraw import logic
from schemdraw.types import BBox

from circuit.circuit import Circuit
from circuit.parts import Kind, Part
from circuit.symbols import CURVES, TWO_ENDED, BoxSymbol, SelectorSymbol

schemdraw.use("svg")

Point = tuple[float, float]
Align = Literal["left", "right", "center"]
_FONT, _SMALL = 11, 8
_NEAR = 0.02
_WIDER = 0.08  # by this share of their width
# How far the names of parts stand from the middle whose symbols are wider than a resistor's.
_WIDE = {Kind.LED: 0.9, Kind.PTC: 0.5, Kind.CLAMP: 0.55}


class Sheet:
    """Coordinates are in units of half an inch, x to the right, y up."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self._drawing = schemdraw.Drawing(show=False, fontsize=_FONT, unit=2, margin=0.4)
        self.pins: dict[tuple[str, str], Point] = {}
        self.wires: list[tuple[Point, Point]] = []
        self.tags: list[tuple[str, Point]] = []
        self._words: dict[elm.Element, str] = {}

    def _put(self, ref: str, element: elm.Element, anchors: dict[str, str]) -> None:
        self._drawing.add(element)
        for pin, anchor in anchors.items():
            x, y = element.absanchors[anchor]
            self.pins[ref, pin] = (round(float(x), 3), round(float(y), 3))

    def two(self, ref: str, start: Point, end: Point, text: str = "") -> None:
        """A part with two ends: its first pin at `start`, its last at `end`.

        `text` says where its name goes: above, below, left or right; by itself above a part that
        lies and right of one that stands.
        """
        part = self.circuit.part(ref)
        symbol = CURVES.get(part.type.model, TWO_ENDED[part.type.kind])
        polar = {"polar": True} if "+" in part.nets else {}
        element = symbol(**polar).at(start).to(end)
        names = [pin.name for pin in part.type.pins]
        anchors = {names[0]: "start", names[-1]: "end"}
        if part.type.kind is Kind.TRIMMER:
            anchors["wiper"] = "tap"
        self._put(ref, element, anchors)
        lies = abs(start[1] - end[1]) < _NEAR
        middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        gap = 0.34 if lies else 0.42
        if part.type.kind in _WIDE:
            gap = _WIDE[part.type.kind]
        self._name(part, middle, text or ("above" if lies else "right"), gap)

    def _name(self, part: Part, at: Point, side: str, gap: float) -> None:
        words, pins = label(part), numbers(part)
        x, y = at
        if side in ("above", "below"):
            up = 1 if side == "above" else -1
            away = gap + (0.12 + 0.28 * len(pins) if side == "above" else 0.3)
            y += up * away
            self.text(" ".join(words).strip(), (x, y), "center")
            align: Align = "center"
        else:
            align = "left" if side == "right" else "right"
            x += gap if side == "right" else -gap - 0.1
            y += 0.18 if words[1] else 0
            for n, word in enumerate(filter(None, words)):
                self.text(word, (x, y - 0.36 * n), align)
            y -= 0.36
        for n, line in enumerate(pins, 1):
            self.text(line, (x, y - 0.04 - 0.28 * n), align, _SMALL)

    def bipolar(self, ref: str, base: Point, faces: str = "right", text: str = "right") -> None:
        """A transistor with its base at a point, the rest to its right or left."""
        symbol = elm.BjtPnp if self.circuit.part(ref).type.kind is Kind.PNP else elm.BjtNpn
        element = symbol(circle=True).theta(0).at(base).anchor("base")
        if faces == "left":
            element = element.reverse()
        self._put(ref, element, {"C": "collector", "B": "base", "E": "emitter"})
        away = 1.35 if faces == "right" else -1.35
        side = 0.15 if text == "right" else -0.15
        x = base[0] + (away if (faces == "right") == (text == "right") else side)
        self._name(self.circuit.part(ref), (x - side, base[1]), text, 0.15)

    def pfet(self, ref: str, source: Point, faces: str) -> None:
        """A P-channel MOSFET in a line, its drain 1.667 to the right or left of its source."""
        element = elm.PMos(diode=True).at(source).anchor("source")
        element = element.theta(90) if faces == "right" else element.theta(90).flip()
        self._put(ref, element, {"S": "source", "G": "gate", "D": "drain"})
        drain = self.pins[ref, "D"]
        self._name(self.circuit.part(ref), ((source[0] + drain[0]) / 2, source[1]), "above", 0.5)

    def op_amp(self, ref: str, at: Point, plus: str = "below") -> None:
        """An amplifier; `at` is the middle of its left side, `plus` says where in+ is."""
        element = elm.Opamp(leads=False).theta(0).at((at[0], at[1])).anchor("center")
        if plus == "above":
            element = element.flip()
        names = {"in-": "in1", "in+": "in2", "out": "out", "V+": "vd", "V-": "vs"}
        if plus == "above":
            names |= {"V+": "vs", "V-": "vd"}
        self._put(ref, element, names)
        self._name(self.circuit.part(ref), (at[0] + 0.6, at[1] - 1.65), "below", 0.1)

    def gate(self, ref: str, at: Point) -> None:
        """A Schmitt inverter with its input at a point; its supply pins stand above and below."""
        element = logic.SchmittNot().theta(0).at(at)  # type: ignore[no-untyped-call]
        self._put(ref, element, {"in": "start", "out": "end"})
        x = (self.pins[ref, "in"][0] + self.pins[ref, "out"][0]) / 2
        self._drawing.add(elm.Line().at((x - 0.1, at[1] + 0.25)).to((x - 0.1, at[1] + 0.8)))
        self._drawing.add(elm.Line().at((x - 0.1, at[1] - 0.25)).to((x - 0.1, at[1] - 0.8)))
        self.pins[ref, "VCC"] = (round(x - 0.1, 3), round(at[1] + 0.8, 3))
        self.pins[ref, "GND"] = (round(x - 0.1, 3), round(at[1] - 0.8, 3))
        self._name(self.circuit.part(ref), (x + 0.8, at[1] - 1.5), "below", 0.1)

    def selector(self, ref: str, at: Point) -> None:
        """A cap with three places; `at` is its first pin, the middle one 2.8 to the right."""
        names = tuple(pin.name for pin in self.circuit.part(ref).type.pins)
        element = SelectorSymbol(names).theta(0).at(at)
        self._put(ref, element, {name: name for name in names})
        self._name(self.circuit.part(ref), (at[0] + 1.4, at[1]), "above", 0.2)
        self.text("one cap", (at[0] + 1.4, at[1] - 2.4), "center", 9)

    def transformer(self, ref: str, corner: Point) -> None:
        """A transformer with one winding a side; `corner` is the lower left terminal."""
        element = elm.Transformer(t1=4, t2=4).theta(0).at(corner).anchor("p2")
        self._put(ref, element, {"P1": "p1", "P2": "p2", "S1": "s1", "S2": "s2"})
        top = max(self.pins[ref, pin][1] for pin in ("P1", "S1"))
        self._name(self.circuit.part(ref), (corner[0] + 0.5, top), "above", 0.35)

    def box(self, ref: str, at: Point, size: Point, sides: dict[str, tuple[str, ...]]) -> None:
        """A rectangle around `at` with the part's pins by name on its sides, its name above."""
        element = BoxSymbol(*size, sides).theta(0).at(at)
        names = [name for side in sides.values() for name in side]
        self._put(ref, element, {name: name for name in names})
        self._name(self.circuit.part(ref), (at[0], at[1] + size[1] / 2), "above", 0.1)

    def at(self, pin: str) -> Point:
        """Where a pin, such as "Q1.C", is."""
        ref, _, name = pin.partition(".")
        return self.pins[ref, name]

    def wire(self, *points: Point | str) -> None:
        """Lines from point to point (or pin), each level or upright."""
        places = [self.at(point) if isinstance(point, str) else point for point in points]
        for a, b in itertools.pairwise(places):
            if abs(a[0] - b[0]) > 1e-3 and abs(a[1] - b[1]) > 1e-3:
                raise ValueError(f"The wire from {a} to {b} of {self.circuit.name} is askew.")
            self.wires.append((a, b))
            self._drawing.add(elm.Line().at(a).to(b))

    def tag(self, net: str, at: Point | str, side: str = "left", text: str = "") -> None:
        """A net's name at a point: ground and rails as their symbols, others as a ring."""
        place = self.at(at) if isinstance(at, str) else at
        self.tags.append((net, place))
        if side == "down" and net in self.circuit.grounds:
            self._drawing.add(elm.Ground().theta(0).at(place))
            if net != "GND":
                self.text(net, (place[0], place[1] - 1.0), "center")
        elif side == "down":
            self._drawing.add(elm.Vss().theta(0).at(place))  # type: ignore[no-untyped-call]
            self.text(net, (place[0], place[1] - 0.75), "center")
        elif side == "up":
            self._drawing.add(elm.Vdd().theta(0).at(place))  # type: ignore[no-untyped-call]
            self.text(net, (place[0], place[1] + 0.62), "center")
        else:
            self._drawing.add(elm.Dot(open=True).at(place))
            align: Align = "right" if side == "left" else "left"
            step = -0.3 if side == "left" else 0.3
            self.text(net, (place[0] + step, place[1]), align, size=13)
            if text:
                self.text(text, (place[0] + step, place[1] - 0.35), align, size=9)

    def text(self, words: str, at: Point, align: Align = "left", size: float = _FONT) -> None:
        element = (
            elm.Label().theta(0).at(at).label(words, halign=align, valign="center", fontsize=size)
        )
        self._drawing.add(element)
        self._words[element] = words

    def svg(self) -> str:
        """The drawing, with a dot wherever three lines meet and its title over it."""
        for point in self._junctions():
            self._drawing.add(elm.Dot(radius=0.06).at(point))
        box = self._drawing.get_bbox()
        self.text(f"{self.circuit.title}: simulated, never built", (box.xmin, box.ymax + 0.6))
        text: str = self._drawing.get_imagedata("svg").decode()
        return text if text.endswith("\n") else text + "\n"

    def _junctions(self) -> list[Point]:
        arms: dict[Point, int] = defaultdict(int)
        ends = [point for wire in self.wires for point in wire]
        for point in [*ends, *self.pins.values()]:
            arms[point] += 1
        for point in list(arms):
            arms[point] += sum(2 for a, b in self.wires if _inside(point, a, b))
        return sorted(point for point, count in arms.items() if count > 2)

    def drawn_nets(self) -> tuple[list[set[tuple[str, str]]], list[str]]:
        """The pins that the lines join, and sentences on names that contradict the circuit."""
        group = _Groups()
        points = {point for wire in self.wires for point in wire} | set(self.pins.values())
        points |= {place for _, place in self.tags}
        for a, b in self.wires:
            group.join(a, b)
            for point in points:
                if _inside(point, a, b):
                    group.join(a, point)
        for close, other in itertools.combinations(sorted(points), 2):
            if _close(close, other):
                group.join(close, other)
        first: dict[str, Point] = {}
        for net, place in self.tags:
            group.join(first.setdefault(net, place), place)
        joined: dict[Point, set[tuple[str, str]]] = defaultdict(set)
        for key, place in self.pins.items():
            joined[group.head(place)].add(key)
        wrong = []
        for net, place in first.items():
            for ref, pin in joined[group.head(place)]:
                if self.circuit.part(ref).nets[pin] != net:
                    wrong.append(f"{ref}.{pin} is drawn on {net}.")
        return list(joined.values()), wrong

    def differences(self) -> list[str]:
        """Where the drawing and the circuit disagree, as sentences; empty when they agree."""
        drawn, wrong = self.drawn_nets()
        everything = {(p.ref, pin) for p in self.circuit.parts for pin in p.nets}
        missing = sorted(everything - set(self.pins))
        wrong += [f"{ref}.{pin} is not drawn." for ref, pin in missing]
        meant = {frozenset(pins) for pins in self.circuit.nets().values()}
        for pins in drawn:
            if pins and frozenset(pins) not in meant:
                names = ", ".join(f"{ref}.{pin}" for ref, pin in sorted(pins))
                wrong.append(f"The drawing joins {names}, the circuit does not.")
        tagged = {net for net, _ in self.tags}
        wrong += [f"Port {p.net} is not named." for p in self.circuit.ports if p.net not in tagged]
        return wrong

    def crowded(self) -> list[str]:
        """Words that touch a symbol, a line or other words, as sentences; empty when none do."""
        boxes = [
            (element, element.get_bbox(transform=True))  # type: ignore[no-untyped-call]
            for element in self._drawing.elements
        ]
        return [
            f"{self._words[element]} touches {self._words.get(other, type(other).__name__)}."
            for (element, box), (other, beside) in itertools.permutations(boxes, 2)
            if element in self._words and _touch(box, beside)
        ]


def label(part: Part) -> tuple[str, str]:
    """A part's name and the short of its value, as they stand on the drawing; a resistor of more
    than the usual quarter watt says so.
    """
    plain = part.type.kind in (Kind.JUMPER, Kind.LINK)
    value = "" if plain else part.type.value.split(",")[0]
    watts = part.type.rating.watts or 0
    if part.type.kind is Kind.RESISTOR and watts > 0.25:
        value += f" {watts:g} W"
    return part.shared or part.ref, value


def numbers(part: Part) -> list[str]:
    """Lines that say which pin of the package is which, where that can be mistaken: one number
    for each of the package's units.
    """
    if len(part.type.pins) < 3 or part.type.kind in (Kind.TRANSFORMER, Kind.JUMPER):
        return []
    units = part.type.units or (tuple(pin.number for pin in part.type.pins),)
    pins = [
        f"{pin.name}: {'/'.join(dict.fromkeys(unit[n] for unit in units))}"
        for n, pin in enumerate(part.type.pins)
        if pin.name != pin.number
    ]
    row = 3 if len(units) < 3 else 1
    return [", ".join(pins[n : n + row]) for n in range(0, len(pins), row)]


def _touch(words: BBox, other: BBox) -> bool:
    """Whether boxes meet; words stand a little wider in some fonts."""
    wider = _WIDER * (words.xmax - words.xmin)
    apart = words.xmin - wider >= other.xmax or other.xmin >= words.xmax + wider
    return not (apart or words.ymin >= other.ymax or other.ymin >= words.ymax)


class _Groups:
    """Points that belong together."""

    def __init__(self) -> None:
        self._above: dict[Point, Point] = {}

    def head(self, point: Point) -> Point:
        while (above := self._above.get(point, point)) != point:
            point = above
        return point

    def join(self, a: Point, b: Point) -> None:
        self._above[self.head(a)] = self.head(b)


def _close(a: Point, b: Point) -> bool:
    return abs(a[0] - b[0]) < _NEAR and abs(a[1] - b[1]) < _NEAR


def _inside(point: Point, a: Point, b: Point) -> bool:
    """Whether a point lies on a level or upright line, its ends left out."""
    if _close(point, a) or _close(point, b):
        return False
    low_x, high_x = sorted((a[0], b[0]))
    low_y, high_y = sorted((a[1], b[1]))
    return low_x - _NEAR < point[0] < high_x + _NEAR and low_y - _NEAR < point[1] < high_y + _NEAR
