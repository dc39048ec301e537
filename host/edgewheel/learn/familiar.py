"""Library wheels behind a pattern of few teeth, if the speed swung as engines' speeds do.

With few teeth a repeat, ripple moves edges as wear or another width would, and one speed cannot
tell which it was. What is known of wheels that are made, and of engines, still leaves few readings.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np

from edgewheel.learn.few import DEEPEST
from edgewheel.learn.outline import Outline, laid_on
from edgewheel.learn.pattern import Pattern, as_measured
from edgewheel.learn.ripple import Swing
from edgewheel.learn.streams import Floats

MOST_SWINGS = 8
"""Compressions in a crank turn of the engines that are thought of: sixteen cylinders."""

MOST_REPEATS = 16
"""Repeats of a wheel that a pattern may hold before its ripple begins again."""

SECOND_ORDER = 0.1
"""Share of the ripple that may be left: it is no pure sine."""

CLOCK, TIMES_ERROR = 0.002, 5.0
"""Slots, and errors of an edge's place, that may be left besides."""


def familiar(pattern: Pattern, wheels: Iterable[tuple[str, Outline]]) -> list[Pattern]:
    """The pattern read as each library wheel that it can be under ripple, the best fit first."""
    found = []
    own = _outline(pattern)
    for _, outline in wheels:
        repeats = Fraction(_count(own), _count(outline))
        if repeats.denominator != 1 or repeats > MOST_REPEATS:
            continue
        fits = list(_fits(pattern, own, outline, int(repeats)))
        if fits:
            misfit, swing = min(fits, key=lambda fit: fit[0])
            found.append((misfit, replace(as_measured(pattern), swing=swing)))
    return [reading for _, reading in sorted(found, key=lambda one: one[0])]


def _outline(pattern: Pattern) -> Outline:
    """All edges of the pattern as measured, as shares of its period."""
    streams: dict[tuple[str, int], list[float]] = {}
    for edge in as_measured(pattern).edges:
        streams.setdefault((edge.track, edge.level), []).append(edge.place / pattern.period)
    tracks = tuple(dict.fromkeys(track for track, _ in streams))
    return Outline(tracks, {key: np.sort(np.array(ones)) for key, ones in streams.items()}, 0.0)


def _count(outline: Outline) -> int:
    """Edges of the busiest stream: of some tracks only one edge of a tooth may be known."""
    return max(len(ones) for ones in outline.streams.values())


def _fits(
    pattern: Pattern, own: Outline, outline: Outline, repeats: int
) -> Iterator[tuple[float, Swing]]:
    """Every (misfit, ripple) that makes the wheel, so often repeated, of the pattern."""
    orders = _orders(repeats * outline.repeat_deg / 360)
    for pairs in laid_on(own, outline.repeated(repeats)):
        few_own, few_other = min(pairs, key=lambda pair: len(pair[0]))
        for place in few_own:
            turned = float(place - few_other[0])
            wheel = np.concatenate([other + turned for _, other in pairs])
            late = np.concatenate([_late(own, other + turned) for own, other in pairs])
            for order in orders:
                fit = _fit(pattern, wheel * pattern.period, late * pattern.period, order)
                if fit is not None:
                    yield fit


def _orders(turns: float) -> list[int]:
    """Swings in so many crank turns, whole ones and such as engines have in one or two turns."""
    swings = np.arange(1, 2 * MOST_SWINGS + 1) / 2 * turns
    return [round(order) for order in swings if abs(order - round(order)) < 1e-9]


def _fit(pattern: Pattern, wheel: Floats, late: Floats, order: int) -> tuple[float, Swing] | None:
    """Ripple of an order that makes edges at `wheel` (n,), in slots, so `late` (n,), if any does.

    With it how ill it fits: what is left beside what may be, and its depth beside the deepest.
    """
    turn = 2 * np.pi * order * wheel / pattern.period
    matrix = np.stack([np.ones(len(turn)), np.cos(turn), np.sin(turn)], axis=1)
    solution = np.linalg.lstsq(matrix, late, rcond=None)[0]
    left = float(np.max(np.abs(late - matrix @ solution)))
    swing = Swing(pattern.period, (order,), (float(solution[1]),), (float(solution[2]),))
    allowed = CLOCK + TIMES_ERROR * pattern.error + SECOND_ORDER * swing.amplitudes[0]
    if left > allowed or swing.depth(0) > DEEPEST:
        return None
    misfit = left / allowed + swing.depth(0) / DEEPEST
    return misfit, _placed(pattern, swing, float(solution[0]))


def _placed(pattern: Pattern, swing: Swing, by: float) -> Swing:
    """A ripple whose places lie `by` slots further on in the pattern as measured.

    A pattern counts its places from its teeth with the ripple taken out, so those move, too.
    """
    slots, late = np.arange(pattern.period, dtype=np.float64), pattern.folded.late
    measured, moved = float(np.nanmedian(late)), swing
    for _ in range(8):
        zero = measured - float(np.nanmedian(late - moved.late(slots)))
        moved = swing.moved(by + zero)
    return moved


def _late(own: Floats, wheel: Floats) -> Floats:
    """How late (n,) each edge of the wheel comes, laid on its own ones in order round the ring."""
    own, wheel = np.sort(own % 1), wheel % 1
    order = np.argsort(wheel)
    ways = [(np.roll(own, -k) - wheel[order] + 0.5) % 1 - 0.5 for k in range(len(own))]
    best = min(ways, key=lambda way: float(np.abs(way).max()))
    late = np.empty(len(own))
    late[order] = best
    return late
