"""Which pattern explains a capture best, and which comes next."""

from __future__ import annotations

from dataclasses import dataclass

from edgewheel.learn.few import readings
from edgewheel.learn.pattern import Pattern, pattern_of
from edgewheel.learn.ripple import FEW
from edgewheel.learn.slots import Slots, pitch_slots, row_slots, with_gaps
from edgewheel.learn.streams import Stream, Streams

BUSY = 0.9
"""Streams with this share of the busiest one's edges may count the slots."""

LEAST_EDGES = 6
LITTLE_DOUBT = 0.03

SHORTER, AS_MUCH = 1.5, 0.01
"""Times as often, at least, that a shorter pattern comes; share of the edges that it may explain
less to explain about as many.
"""

BENT = 0.15
"""Pitches that teeth swing under ripple from which on the pitches of a gap may be miscounted."""

AS_PLAIN = 0.005
"""Doubt by which one of two counts of the same gap must be less to be sure of it."""


@dataclass(frozen=True, eq=False)
class Ranked:
    """The pattern with the least doubt, and how it differs from what else was thought of.

    `readings` are all ways to read the best pattern that fit the capture, the likeliest first: one,
    or with few teeth also unequal teeth at even speed beside even teeth under ripple. `other_doubt`
    is the least doubt among patterns of another length. `shorter` says that one that assumes more
    comes more often and explains as many of the edges; `recounted` that the same repeat has pitches
    more or less under a ripple that is almost as plain.
    """

    readings: tuple[Pattern, ...]
    other_doubt: float
    shorter: bool
    recounted: bool

    @property
    def best(self) -> Pattern:
        return self.readings[0]


def rank(streams: Streams) -> Ranked | None:
    """The best pattern behind the streams, None where nothing repeats."""
    mains = [main for main in _main_streams(streams) if len(main.times) >= LEAST_EDGES]
    patterns = []
    for main in mains:
        patterns += _pitched_patterns(pitch_slots(main.times), main, streams)
    if not any(_beyond_doubt(pattern) for pattern in patterns):
        rows = [(row_slots(main.times), main) for main in mains]
        patterns += _patterns([(slots, main) for slots, main in rows if slots], streams)
    if not patterns:
        return None
    patterns.sort(key=lambda pattern: pattern.doubt)
    best = patterns[0]
    others = [p.doubt for p in patterns[1:] if _differs(p, best)]
    recounted = any(_recounted(pattern, best) for pattern in patterns[1:])
    shorter = any(_as_good_and_shorter(pattern, best) for pattern in patterns[1:])
    return Ranked(readings(best), min(others, default=1.0), shorter, recounted)


def _pitched_patterns(slots: Slots, main: Stream, streams: Streams) -> list[Pattern]:
    """The pattern of teeth on pitches; where ripple may hide a pitch in a long gap, or make one,
    those with gaps of one pitch more or less, too.
    """
    found = _patterns([(slots, main)], streams)
    if found and max(found[0].swing.amplitudes, default=0.0) > BENT:
        found += _patterns([(with_gaps(slots, longer), main) for longer in (-1, 1)], streams)
    return found


def _patterns(counted: list[tuple[Slots, Stream]], streams: Streams) -> list[Pattern]:
    found = [pattern_of(slots, main, streams) for slots, main in counted]
    return [pattern for pattern in found if pattern is not None]


def _beyond_doubt(pattern: Pattern) -> bool:
    """True if no row of unequal intervals needs to be sought."""
    return pattern.pitched and pattern.teeth > FEW and pattern.doubt < LITTLE_DOUBT


def _main_streams(streams: Streams) -> list[Stream]:
    """The streams of the busiest track."""
    busiest = max(streams.streams, key=lambda stream: len(stream.times))
    return [
        stream
        for stream in streams.streams
        if stream.track == busiest.track and len(stream.times) >= BUSY * len(busiest.times)
    ]


def _differs(pattern: Pattern, best: Pattern) -> bool:
    """True if a pattern has another number of edges for the stretch of time that a repeat takes."""
    return (
        abs(len(pattern.clusters) * pattern.repeats / (len(best.clusters) * best.repeats) - 1)
        > 0.02
    )


def _as_good_and_shorter(pattern: Pattern, best: Pattern) -> bool:
    """True if a pattern comes more often than the best one and explains as many edges."""
    often = pattern.repeats > SHORTER * best.repeats
    return often and pattern.explained > best.explained - AS_MUCH


def _recounted(pattern: Pattern, best: Pattern) -> bool:
    """True if a pattern with another ripple than the best one counts other pitches in a repeat."""
    same = abs(pattern.repeats / best.repeats - 1) < 0.02 and pattern.doubt < best.doubt + AS_PLAIN
    rippled = pattern.pitched and best.pitched and bool(best.swing.orders)
    return same and rippled and pattern.period != best.period
