"""The drawn symbol of each kind of part, and where its pins are on it."""

from __future__ import annotations

import math
from typing import Any, Literal

import schemdraw.elements as elm
from schemdraw.segments import Segment, SegmentCircle, SegmentText

from circuit.parts import Kind

# Where schemdraw lifts the pen; a symbol's first line must run from end to end.
_GAP = (math.nan, math.nan)


class JumperSymbol(elm.Element2Term):  # type: ignore[no-untyped-call]
    """Two pins and the cap that joins them."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.segments.append(Segment([(0, 0), (0.2, 0), _GAP, (0.8, 0), (1, 0)]))
        self.segments.append(SegmentCircle((0.28, 0), 0.08))
        self.segments.append(SegmentCircle((0.72, 0), 0.08))
        self.segments.append(Segment([(0.28, 0.12), (0.28, 0.3), (0.72, 0.3), (0.72, 0.12)]))


class SelectorSymbol(elm.Element):  # type: ignore[no-untyped-call]
    """Three pins around a fourth, the cap on the upper one; the anchors are `names`, top first."""

    def __init__(self, names: tuple[str, ...], **options: Any) -> None:
        super().__init__(**options)
        for name, (x, y) in zip(names, ((0.0, 0.0), (0.0, -1.0), (0.0, -2.0)), strict=False):
            self.segments.append(Segment([(x, y), (0.8, y)]))
            self.segments.append(SegmentCircle((0.88, y), 0.08))
            self.anchors[name] = (x, y)
        self.segments.append(SegmentCircle((1.88, -1), 0.08))
        self.segments.append(Segment([(1.96, -1), (2.8, -1)]))
        self.segments.append(Segment([(0.96, -0.08), (1.8, -0.92)], lw=5))
        self.anchors[names[-1]] = (2.8, -1.0)


class ClampSymbol(elm.Element2Term):  # type: ignore[no-untyped-call]
    """Two zener diodes, cathode to cathode."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.segments.append(Segment([(0, 0), (0.1, 0), _GAP, (0.9, 0), (1, 0)]))
        for end in (0.1, 0.9):
            self.segments.append(Segment([(end, 0.22), (0.5, 0), (end, -0.22), (end, 0.22)]))
        self.segments.append(Segment([(0.4, 0.33), (0.5, 0.25), (0.5, -0.25), (0.6, -0.33)]))


class LinkSymbol(elm.Element2Term):  # type: ignore[no-untyped-call]
    """A piece of wire that is a part of its own."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.segments.append(Segment([(0, 0), (1, 0)], lw=4))


TWO_ENDED: dict[Kind, type[elm.Element2Term]] = {
    Kind.RESISTOR: elm.ResistorIEC,
    Kind.CAPACITOR: elm.Capacitor,
    Kind.DIODE: elm.Diode,
    Kind.CLAMP: ClampSymbol,
    Kind.LED: elm.LED,
    Kind.FUSE: elm.FuseIEC,
    Kind.PTC: elm.Thermistor,
    Kind.TRIMMER: elm.PotentiometerIEC,
    Kind.JUMPER: JumperSymbol,
    Kind.LINK: LinkSymbol,
}
# Diodes whose curve the symbol shows.
CURVES: dict[str, type[elm.Element2Term]] = {
    "DSCHOTTKY": elm.Schottky,
    "DPOWER": elm.Schottky,
    "DZENER12": elm.Zener,
    "DCLAMP18": elm.Zener,
}


class BoxSymbol(elm.Element):  # type: ignore[no-untyped-call]
    """A rectangle with named pins: `left`, `right`, `top` and `bottom`, evenly spread."""

    def __init__(
        self, width: float, height: float, sides: dict[str, tuple[str, ...]], **options: Any
    ) -> None:
        super().__init__(**options)
        w, h = width / 2, height / 2
        self.segments.append(Segment([(-w, -h), (w, -h), (w, h), (-w, h), (-w, -h)]))
        for side, names in sides.items():
            for n, name in enumerate(names):
                part = (n + 1) / (len(names) + 1)
                x, y = {
                    "left": (-w, h - 2 * h * part),
                    "right": (w, h - 2 * h * part),
                    "top": (-w + 2 * w * part, h),
                    "bottom": (-w + 2 * w * part, -h),
                }[side]
                lead = {"left": (-0.5, 0), "right": (0.5, 0), "top": (0, 0.5), "bottom": (0, -0.5)}
                dx, dy = lead[side]
                self.segments.append(Segment([(x, y), (x + dx, y + dy)]))
                where = (x - dx * 0.25, y - dy * 0.4)
                across: Literal["left", "right", "center"] = (
                    "left" if side == "left" else "right" if side == "right" else "center"
                )
                self.segments.append(
                    SegmentText(where, name, align=(across, "center"), fontsize=10)
                )
                self.anchors[name] = (x + dx, y + dy)
