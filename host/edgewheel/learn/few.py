"""Wheels of few teeth: uneven teeth at even speed look like even teeth under ripple.

Both readings are worked out; where both fit, nothing but another speed can tell them apart.
"""

from __future__ import annotations

import numpy as np

from edgewheel.learn.pattern import Pattern, as_measured, with_ripple
from edgewheel.learn.ripple import FEW, Swing
from edgewheel.learn.streams import Bools, Floats

DEEPEST = 0.35
"""Ripple of a cranking engine does not swing the speed by more than this share of the mean."""

EVEN_WITHIN = 0.02
"""Slots within which teeth are even."""

EXACT_WITHIN = 0.008
"""Slots within which three teeth and more are even because they are, not by a chance of ripple."""

HIGHEST_ORDER = 12


def readings(best: Pattern) -> tuple[Pattern, ...]:
    """All ways to read a pattern, the one that assumes least first."""
    if not hides(best) or exact(best):
        return (best,)
    orders = range(1, min(HIGHEST_ORDER, 2 * best.teeth) + 1)
    fits = [fit for order in orders if (fit := _even(best, order)) is not None]
    even = min(fits, key=lambda fit: fit[0])[1:] if fits else ()
    measured = as_measured(best)
    if best.pitched and best.swing.orders:
        return (best, measured)
    return (*even, measured)


def hides(pattern: Pattern) -> bool:
    """True if ripple may hide in a pattern: it has few teeth, or they are no row of pitches."""
    unequal = not pattern.pitched or bool(pattern.row)
    return pattern.teeth <= FEW or (unequal and not exact(pattern))


def exact(pattern: Pattern) -> bool:
    """True if the teeth stand on equal pitches without any ripple to be assumed."""
    if pattern.period == 1:
        return True
    off = float(np.nanmax(np.abs(as_measured(pattern).off)))
    return pattern.teeth >= 3 and pattern.pitched and off <= EXACT_WITHIN


def _even(pattern: Pattern, order: int) -> tuple[float, Pattern] | None:
    """The pattern read as even teeth under ripple of an order, and how far off that is in slots.

    All teeth are as wide. None if it does not fit. Both edges of every tooth take part: at a few
    places alone one order looks like another.
    """
    slots, late, second = _edge_lateness(pattern)
    if not len(slots):
        return None
    width = float(np.median(late[second])) if second.any() else 0.0
    turn = 2 * np.pi * order * (slots + width * second) / pattern.period
    columns = [~second, second] if second.any() else [~second]
    matrix = np.stack([*columns, np.cos(turn), np.sin(turn)], axis=1).astype(np.float64)
    solution = np.linalg.lstsq(matrix, late, rcond=None)[0]
    rest = float(np.max(np.abs(late - matrix @ solution)))
    swing = Swing(pattern.period, (order,), (float(solution[-2]),), (float(solution[-1]),))
    if rest > EVEN_WITHIN + 0.1 * swing.amplitudes[0] or swing.depth(0) > DEEPEST:
        return None
    return rest, with_ripple(pattern, swing)


def _edge_lateness(pattern: Pattern) -> tuple[Floats, Floats, Bools]:
    """The main track's edges (k,): slot, how late beside it, whether it is the tooth's second edge.

    Empty if a tooth has not two edges or a main edge has no slot.
    """
    raw, main = as_measured(pattern), pattern.main
    known = np.flatnonzero(~np.isnan(raw.off))
    firsts = np.array([edge.place for edge in raw.of(main.track, main.level)])
    others = np.array([edge.place for edge in raw.of(main.track, 1 - main.level)])
    if len(firsts) != len(known) or len(others) not in (0, len(known)):
        return np.empty(0), np.empty(0), np.empty(0, bool)
    places = known + raw.off[known]
    gaps = (others[None, :] - places[:, None]) % pattern.period
    seconds = gaps.min(axis=1) if len(others) else np.empty(0)
    slots = np.concatenate([known, known[: len(seconds)]]).astype(np.float64)
    late = np.concatenate([raw.off[known], raw.off[known][: len(seconds)] + seconds])
    second = np.arange(len(slots)) >= len(known)
    return slots, late, second
