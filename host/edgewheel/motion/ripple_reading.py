"""The `ripple:` of a motion file: a depth, or an engine whose gas forces make one."""

from __future__ import annotations

from fractions import Fraction

from edgewheel.errors import UsageError
from edgewheel.motion.engine import AIR_KPA, COMPRESSION_EXPONENT, Cylinder, Engine
from edgewheel.motion.manoeuvres import GasRipple, RippleSource
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import HIGHEST_RPM
from edgewheel.yamlfile import Node, Section, parse_number

MOST_COMPRESSIONS = 12
MOST_CYLINDERS = 24
LONGEST_MM = 2000
LARGEST_RATIO = 40
LARGEST_INERTIA = 10**5


def read_ripple(node: Node) -> RippleSource:
    """A ripple's `depth` or `engine`; None for a depth of 0. Raises FileError."""
    section = node.section()
    engine = section.optional("engine")
    if engine is not None:
        rpm = section.optional("rpm")
        fixed = rpm.number(above=0, maximum=HIGHEST_RPM) if rpm else None
        section.finish()
        return GasRipple(read_engine(engine), fixed)
    if section.optional("depth") is None:
        remedy = "Write 'depth:' with 'per_turn:', or 'engine:' to have it computed."
        raise node.refuse("neither 'depth' nor 'engine' is given", remedy)
    return _read_depth(node, section)


def _read_depth(node: Node, section: Section) -> CompressionRipple | None:
    depth = section.required("depth").number(0, below=1)
    per_turn_node = section.optional("per_turn")
    per_turn = per_turn_node.number(above=0, maximum=MOST_COMPRESSIONS) if per_turn_node else None
    at = section.optional("slowest_at")
    slowest_at = at.number(0, below=720) if at else Fraction(0)
    section.finish()
    if depth == 0:
        return None
    if per_turn is None:
        remedy = "Add 'per_turn:', compressions a turn: half the cylinders of a four-stroke."
        raise node.refuse("'per_turn' is missing", remedy)
    if (per_turn * 2).denominator != 1:
        raise node.refuse(
            f"{per_turn} compressions a turn do not fit two turns",
            "Write 1/2, 1, 3/2, 2 and so on.",
        )
    return CompressionRipple(depth, per_turn, slowest_at)


def read_engine(node: Node) -> Engine:
    """An engine's size, firing order and inertia. Raises FileError."""
    section = node.section()
    cylinder = _read_cylinder(node, section)
    strokes_node = section.optional("strokes")
    strokes = int(strokes_node.choice(("4", "2"))) if strokes_node else 4
    firing = _read_firing(section, 180 * strokes)
    inertia = section.required("inertia_kg_m2").number(above=0, maximum=LARGEST_INERTIA)
    exponent, air = section.optional("exponent"), section.optional("air_kpa")
    weak = section.optional("weak")
    losses = _read_weak(weak, [one for one, _ in firing]) if weak else ()
    section.finish()
    try:
        return Engine(
            cylinder,
            firing,
            inertia,
            strokes,
            exponent.number(above=1, maximum=2) if exponent else COMPRESSION_EXPONENT,
            air.number(above=0, maximum=1000) if air else AIR_KPA,
            losses,
        )
    except UsageError as error:
        raise node.refuse(*two_sentences(error)) from error


def _read_cylinder(node: Node, section: Section) -> Cylinder:
    lengths = [
        section.required(key).number(above=0, maximum=LONGEST_MM)
        for key in ("bore_mm", "stroke_mm", "rod_mm")
    ]
    ratio = section.required("compression_ratio").number(above=1, maximum=LARGEST_RATIO)
    try:
        return Cylinder(lengths[0], lengths[1], lengths[2], ratio)
    except UsageError as error:
        rod = section.nodes["rod_mm"]
        raise rod.refuse(*two_sentences(error)) from error


def _read_firing(section: Section, cycle_deg: int) -> tuple[tuple[int, Fraction], ...]:
    """(cylinder, crank degrees of its firing TDC) in firing order."""
    count = section.required("cylinders").integer(1, MOST_CYLINDERS)
    order_node = section.required("firing_order")
    order = [item.integer(1) for item in order_node.items()]
    if sorted(order) != list(range(1, count + 1)):
        raise order_node.refuse(
            f"the firing order {', '.join(map(str, order))} does not fit {count} cylinders",
            f"Name each cylinder from 1 to {count} once.",
        )
    first_node = section.optional("first_tdc")
    first = first_node.number(0, below=cycle_deg) if first_node else Fraction(0)
    after_node = section.optional("firing_at")
    after = [Fraction(cycle_deg * n, count) for n in range(count)]
    if after_node is not None:
        after = _read_firing_angles(after_node, count, cycle_deg)
    return tuple(
        (one, (first + angle) % cycle_deg) for one, angle in zip(order, after, strict=True)
    )


def _read_firing_angles(node: Node, count: int, cycle_deg: int) -> list[Fraction]:
    """Crank degrees from the first firing TDC to each, in firing order."""
    angles = [item.number(0, below=cycle_deg) for item in node.items()]
    if len(angles) != count:
        raise node.refuse(
            f"there are {len(angles)} firing angles for {count} cylinders",
            "Give one for each, in firing order, the first of them 0.",
        )
    if angles[0] != 0 or sorted(angles) != angles:
        raise node.refuse(
            "the firing angles do not ascend from 0",
            "Give crank degrees after the first cylinder's TDC, in firing order.",
        )
    return angles


def _read_weak(node: Node, cylinders: list[int]) -> tuple[tuple[int, Fraction], ...]:
    """(cylinder, part of its gauge pressure that it loses) of the weak ones."""
    losses = []
    for key, loss in node.section().nodes.items():
        number = parse_number(key)
        if number not in cylinders:
            raise loss.refuse(f"there is no cylinder {key}", f"Name one of 1 to {len(cylinders)}.")
        losses.append((int(number), loss.number(above=0, maximum=1)))
    return tuple(losses)


def two_sentences(error: UsageError) -> tuple[str, str]:
    """An error's text as problem and remedy."""
    problem, _, remedy = str(error).rpartition(". ")
    return problem[:1].lower() + problem[1:], remedy
