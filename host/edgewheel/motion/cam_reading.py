"""The `cams:` of a motion file: cam tracks whose timing varies."""

from __future__ import annotations

from fractions import Fraction

from edgewheel.motion.cam import CamTiming, Point, Wander, moved
from edgewheel.motion.segment_reading import LONGEST_S
from edgewheel.yamlfile import Node, Section

MOST_ADVANCE_DEG = 180
FASTEST_DEG_PER_S = 10_000
LARGEST_SEED = 2**63 - 1


def read_cams(node: Node) -> dict[str, CamTiming]:
    """Cam timing by the name of the track. Raises FileError."""
    cams = {name: _read_cam(cam) for name, cam in node.section().nodes.items()}
    if not cams:
        raise node.refuse("no cam is named", "Write '<track>: {...}', or leave 'cams' out.")
    return cams


def _read_cam(node: Node) -> CamTiming:
    section = node.section()
    advance = section.optional("advance")
    start = _advance(advance) if advance else Fraction(0)
    rate_node = section.optional("rate")
    rate = rate_node.number(above=0, maximum=FASTEST_DEG_PER_S) if rate_node else None
    wander_node, moves_node = section.optional("wander"), section.optional("moves")
    section.finish()
    if rate is None and (wander_node or moves_node):
        remedy = "Add 'rate:', crank degrees a second that the phaser moves at most."
        raise node.refuse("'rate' is missing", remedy)
    wander = _read_wander(wander_node, rate) if wander_node and rate else None
    if moves_node is None or rate is None:
        return CamTiming(((Fraction(0), start),), wander)
    rest = rate - wander.fastest if wander else rate
    return CamTiming(moved(start, _read_moves(moves_node), rest), wander)


def _read_moves(node: Node) -> list[Point]:
    moves: list[Point] = []
    for item in node.items():
        section = item.section()
        at = section.required("at")
        seconds = at.number(0, maximum=LONGEST_S)
        target = _advance(section.required("to"))
        section.finish()
        if moves and seconds <= moves[-1][0]:
            raise at.refuse("time does not ascend", "Sort the moves; no time twice.")
        moves.append((seconds, target))
    return moves


def _read_wander(node: Node, rate: Fraction) -> Wander:
    section = node.section()
    degrees_node = section.required("degrees")
    degrees = degrees_node.number(above=0, maximum=MOST_ADVANCE_DEG)
    every = section.required("every").number(Fraction(1, 1000), maximum=3600)
    begin = _seconds(section, "from") or Fraction(0)
    until_node = section.optional("until")
    until = _seconds(section, "until")
    seed = section.optional("seed")
    section.finish()
    wander = Wander(degrees, every, begin, until, seed.integer(0, LARGEST_SEED) if seed else 0)
    if until_node and until is not None and until <= begin:
        raise until_node.refuse("it ends before it begins", "Write a time after 'from'.")
    if wander.fastest >= rate:
        raise degrees_node.refuse(
            f"this wanders at up to {float(wander.fastest):g} degrees a second, no slower than "
            f"the rate of {float(rate):g}",
            "Wander less or more slowly, or raise 'rate': moves have what wandering leaves of it.",
        )
    return wander


def _seconds(section: Section, key: str) -> Fraction | None:
    node = section.optional(key)
    return node.number(0, maximum=LONGEST_S) if node else None


def _advance(node: Node) -> Fraction:
    return node.number(-MOST_ADVANCE_DEG, MOST_ADVANCE_DEG)
