"""The `teeth:` of a wheel file in any of its forms, as teeth that fit round one turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from edgewheel.wheel.model import TURN, Tooth
from edgewheel.yamlfile import Node

MOST_TEETH = 3600
"""Teeth and pitches a track may have: one every tenth of a degree."""

FINEST_DEG = Fraction(1, 1000)
"""Degrees that the narrowest tooth or space must have; less is a slip, not a wheel."""

_OWN_DEGREES = "Angles here are degrees of the track's own shaft: one turn is 360."


@dataclass(frozen=True)
class _Placed:
    """A tooth, where the file gives it, and what to call it."""

    tooth: Tooth
    node: Node
    label: str


def teeth_of(node: Node) -> tuple[Tooth, ...]:
    """The teeth of one track in degrees of its shaft, ascending. Raises FileError."""
    placed = _pairs(node) if isinstance(node.content, tuple) else _described(node)
    if not placed:
        raise node.refuse("no tooth is left on this track", "Leave at least one tooth.")
    _refuse_collisions(placed)
    return tuple(sorted((one.tooth for one in placed), key=lambda tooth: tooth.begin))


def _described(node: Node) -> list[_Placed]:
    section = node.section()
    pitches, spans = section.optional("pitches"), section.optional("spans")
    if pitches and spans:
        raise spans.refuse("'spans' and 'pitches' are both given", "Keep one of the two.")
    missing, width = section.optional("missing"), section.optional("width")
    extra, offset = section.optional("extra"), section.optional("offset")
    section.finish()
    if pitches:
        placed = _pitched(node, pitches.integer(1, MOST_TEETH), missing, width)
    elif spans:
        for needless in filter(None, (missing, width)):
            remedy = "Leave it out, or write 'pitches' instead of 'spans'."
            raise needless.refuse("this goes with 'pitches' only", remedy)
        placed = _spanned(spans)
    else:
        remedy = "Write pitches, spans, or a list of [from, to] pairs."
        raise node.refuse("neither 'pitches' nor 'spans' is given", remedy)
    if extra:
        placed += _pairs(extra)
    return _turned(placed, offset.number(-TURN, TURN) if offset else Fraction(0))


def _pitched(node: Node, count: int, missing: Node | None, width: Node | None) -> list[_Placed]:
    share = width.number(above=0, below=1) if width else Fraction(1, 2)
    left_out = _missing(missing, count)
    pitch = TURN / count
    return [
        _Placed(Tooth(index * pitch, (index + share) * pitch), node, f"tooth {index + 1}")
        for index in range(count)
        if index + 1 not in left_out
    ]


def _missing(node: Node | None, count: int) -> frozenset[int]:
    """Numbers of the missing teeth: those listed, or as many of the last as a number says."""
    if node is None:
        return frozenset()
    if not isinstance(node.content, tuple):
        number = node.integer(0, count - 1)
        return frozenset(range(count - number + 1, count + 1))
    numbers: set[int] = set()
    for item in node.items():
        number = item.integer(1)
        if number > count:
            raise item.refuse(
                f"tooth {number} cannot be missing: there are {count} pitches",
                f"Write numbers from 1 to {count}.",
            )
        if number in numbers:
            raise item.refuse(f"tooth {number} is missing twice", "Name each missing tooth once.")
        numbers.add(number)
    return frozenset(numbers)


def _spanned(node: Node) -> list[_Placed]:
    items = _counted(node, 2 * MOST_TEETH)
    if not items or len(items) % 2:
        remedy = "Write metal and air in turn, so an even number of lengths."
        raise node.refuse(f"{len(items)} spans cannot alternate round a turn", remedy)
    lengths = [item.number(above=0) for item in items]
    total = sum(lengths, Fraction(0))
    if total != TURN:
        remedy = f'{_OWN_DEGREES} A fraction such as "360/7" is exact.'
        raise node.refuse(f"the spans add up to {readable(total)} degrees, not 360", remedy)
    placed, begin = [], Fraction(0)
    for index in range(0, len(items), 2):
        tooth = Tooth(begin, begin + lengths[index])
        placed.append(_Placed(tooth, items[index], f"tooth {index // 2 + 1}"))
        begin = tooth.end + lengths[index + 1]
    return placed


def _pairs(node: Node) -> list[_Placed]:
    return [_pair(item) for item in _counted(node, MOST_TEETH)]


def _pair(node: Node) -> _Placed:
    ends = node.items()
    if len(ends) != 2:
        raise node.refuse(f"{len(ends)} numbers cannot be a tooth", "Write [from, to].")
    begin, end = ends[0].number(0), ends[1].number()
    if begin >= TURN:
        raise node.refuse(f"a tooth cannot begin at {readable(begin)} degrees", _OWN_DEGREES)
    if end <= begin:
        across = readable(end + TURN)
        remedy = f"If it lies across the end of the turn, write [{readable(begin)}, {across}]."
        if not 0 <= end < begin:
            remedy = "Write the smaller angle first."
        raise node.refuse(f"'to' is not after 'from': {readable(end)}", remedy)
    if end >= begin + TURN:
        remedy = f"{_OWN_DEGREES} Leave some air."
        raise node.refuse(f"the tooth is {readable(end - begin)} degrees long", remedy)
    return _Placed(Tooth(begin, end), node, f"the tooth from {readable(begin)}")


def _counted(node: Node, most: int) -> Sequence[Node]:
    items = node.items()
    if len(items) > most:
        raise node.refuse(f"{len(items)} entries are too many", f"Write at most {most}.")
    return items


def _turned(placed: list[_Placed], offset: Fraction) -> list[_Placed]:
    return [
        _Placed(Tooth(begin, begin + one.tooth.width), one.node, one.label)
        for one in placed
        for begin in [(one.tooth.begin + offset) % TURN]
    ]


def _refuse_collisions(placed: list[_Placed]) -> None:
    """Refuse teeth that overlap or touch, and teeth and spaces too narrow to be meant.

    `placed` stands in the order of the file, so that of two teeth the later is complained about.
    """
    ring = sorted(range(len(placed)), key=lambda number: placed[number].tooth.begin)
    for here, following in pairwise([*ring, ring[0]]):
        one, other = placed[here], placed[following]
        turn = TURN if following == ring[0] else 0
        space = other.tooth.begin + turn - one.tooth.end
        if space <= 0:
            verb = "overlap" if space else "touch"
            remedy = "Move them apart, or write one tooth for both."
            later = placed[max(here, following)].node
            raise later.refuse(f"{one.label} and {other.label} {verb}", remedy)
        if min(space, one.tooth.width) < FINEST_DEG:
            what = "the space behind it" if space < FINEST_DEG else "it"
            remedy = f"Leave at least {readable(FINEST_DEG)} degrees."
            raise one.node.refuse(f"{one.label}: {what} is too narrow to be meant", remedy)


def readable(angle: Fraction) -> str:
    """An angle as a person writes it: whole, decimal where that is exact and short, else a/b."""
    if (angle * 10_000).denominator == 1:
        return f"{float(angle):.4f}".rstrip("0").rstrip(".")
    return str(angle)
