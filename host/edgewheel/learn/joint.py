"""What all tracks do together: after how many slots everything repeats, and what is seen where."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from edgewheel.learn.course import MAD_TO_SIGMA
from edgewheel.learn.period import Unlike, smallest_period
from edgewheel.learn.streams import Floats, Ints, median

FAR = 0.25
"""Slots beyond which two edges are not the same one, in a stream that has an edge every slot."""

FAR_SHARE = 0.05
"""The same as a share of the way from edge to edge, for streams of fewer edges."""

BINS_PER_SLOT = 80
WIDE = 5
"""Bins on either side of a cluster's middle that belong to it."""

ENOUGH = 0.9
"""Share of a stream's edges in clusters at which no wider ones are tried."""

SEEN = 0.5
"""An edge in fewer of the repeats than this is no part of the pattern."""

NOW_AND_THEN, NEARLY_ALWAYS = 0.3, 0.75
"""Shares of the repeats between which an edge is neither chance nor surely part of the pattern."""

SCATTERED = 0.25
"""Slots from its place within which an edge is there, if not in its cluster."""

LEAST_MISSED = 2
"""Repeats without an edge that make it one that comes now and then."""


@dataclass(frozen=True)
class Cluster:
    """An edge of the pattern.

    `place` is in slots within the period, `spread` its standard deviation, robustly, `seen` the
    share of repeats that have it.
    """

    place: float
    spread: float
    seen: float


@dataclass(frozen=True)
class Irregular:
    """An edge that comes in the repeats of these numbers, of so many."""

    turns: tuple[int, ...]
    repeats: int

    @property
    def seen(self) -> float:
        """The share of repeats that have it."""
        return len(self.turns) / self.repeats

    @property
    def in_doubt(self) -> bool:
        """True if it comes too often for chance, and too seldom to be sure of."""
        missed = self.repeats - len(self.turns)
        return NOW_AND_THEN <= self.seen < NEARLY_ALWAYS and missed >= LEAST_MISSED

    def by_chance(self, times: int) -> float:
        """How likely an edge that comes at random would be as regular over `times` repeats.

        The tail of the hypergeometric distribution (Fisher's exact test), for any of the orders.
        """
        of = np.bincount(np.arange(self.repeats) % times, minlength=times)
        there = np.bincount(np.array(self.turns) % times, minlength=times)
        always = there >= NEARLY_ALWAYS * of
        if not always.any():
            return 1.0
        wanted, hits, present = int(of[always].sum()), int(there[always].sum()), len(self.turns)
        ways = sum(
            math.comb(wanted, n) * math.comb(self.repeats - wanted, present - n)
            for n in range(hits, min(wanted, present) + 1)
        )
        return times * ways / math.comb(self.repeats, present)


def joint_period(step: int, places: Sequence[Floats], most: int) -> int:
    """The smallest multiple of `step` slots after which the edges at all `places` come again.

    `places` are one array of ascending slots a stream.
    """
    lags = np.arange(step, most + 1, step, dtype=np.int64)
    together = step
    for stream in places:
        if len(stream) > 2 and len(lags) > 1:
            far = max(FAR, FAR_SHARE * float(np.median(np.diff(stream))))
            own = smallest_period(lags, _unlike(stream, lags, far))
            both = math.lcm(together, own)
            together = both if both <= most else max(together, own)
    return together


def _unlike(places: Floats, lags: Ints, far: float) -> list[Unlike]:
    """How far the edges are from one another each of the lags later, 1 for `far` slots and more."""
    before = np.concatenate([[-np.inf], places])
    after = np.concatenate([places, [np.inf]])
    end = float(places[-1]) + far
    found = []
    for lag in lags.tolist():
        if lag <= far:
            found.append(Unlike(1.0, 0.0))  # Each edge would be found to be like itself.
            continue
        moved = places + lag
        moved = moved[: moved.searchsorted(end, side="right")]
        number = places.searchsorted(moved)
        off = np.minimum(after[number] - moved, moved - before[number])
        found.append(Unlike.of(np.minimum(off / far, 1.0)))
    return found


def clusters(places: Floats, period: int, repeats: float) -> tuple[tuple[Cluster, ...], Ints]:
    """The edges of a stream that are part of the pattern, ascending, and each edge's number (n,).

    -1 is the number of an edge that is no part of it. Edges that scatter are looked for in wider
    heaps, as far as the stream has room for them.
    """
    if not len(places):
        return (), np.empty(0, np.int64)
    room = period * repeats / len(places) / 8 * BINS_PER_SLOT
    best: tuple[tuple[Cluster, ...], Ints] | None = None
    for wide in (WIDE, 4 * WIDE, 16 * WIDE):
        if wide > max(room, WIDE):
            break
        found = _heaps(places, period, repeats, wide)
        if best is None or (found[1] >= 0).sum() > 1.05 * (best[1] >= 0).sum():
            best = found
        if (best[1] >= 0).mean() > ENOUGH:
            break
    assert best is not None
    return best


def irregular(
    places: Floats, period: int, repeats: float, found: tuple[tuple[Cluster, ...], Ints]
) -> tuple[Irregular, ...]:
    """The edges of a stream that come now and then, of its clusters and of the other edges."""
    clustered, member = found
    others = places[member < 0]
    edges = [
        (cluster.place, places[member == number])
        for number, cluster in enumerate(clustered)
        if cluster.seen < NEARLY_ALWAYS
    ]
    if len(others) >= max(NOW_AND_THEN * repeats, LEAST_MISSED):
        heaps, _ = _heaps(others, period, repeats, WIDE, NOW_AND_THEN)
        edges += [(heap.place, np.empty(0)) for heap in heaps]
    some = [
        _irregular(place, np.concatenate([own, others]), period, repeats) for place, own in edges
    ]
    return tuple(one for one in some if one.in_doubt)


def _irregular(place: float, edges: Floats, period: int, repeats: float) -> Irregular:
    """In which repeats an edge is at a place; one that scatters widely is there, too."""
    turns = np.rint((edges - place) / period)
    near = (np.abs(edges - place - turns * period) <= SCATTERED) & (turns >= 0)
    there = np.unique(turns[near]).astype(np.int64)
    # The capture ends with the last slot of the last repeat, which may be cut off before the place.
    possible = max(math.floor(repeats - (place + 1) / period), int(there.max(initial=0))) + 1
    return Irregular(tuple(there.tolist()), possible)


def _heaps(
    places: Floats, period: int, repeats: float, wide: int, seen: float = SEEN
) -> tuple[tuple[Cluster, ...], Ints]:
    """The clusters of `wide` bins on either side that come in the share `seen` of the repeats, and
    each edge's cluster.
    """
    folded = places % period
    bins = period * BINS_PER_SLOT
    counts = np.bincount((folded * BINS_PER_SLOT).astype(np.int64) % bins, minlength=bins)
    member = np.full(len(places), -1, np.int64)
    order = np.argsort(folded, kind="stable")
    ordered, reach = folded[order], (wide + 0.5) / BINS_PER_SLOT
    found: list[Cluster] = []
    for middle in _peaks(counts, seen * repeats, wide):
        centre = (middle + 0.5) / BINS_PER_SLOT
        near = order[_around(ordered, centre, reach, period)]
        off = (folded[near] - centre + period / 2) % period - period / 2
        inside = (np.abs(off) <= reach) & (member[near] < 0)
        mine, off = near[inside], off[inside]
        if len(mine) < seen * repeats:
            continue
        place = median(off)
        spread = MAD_TO_SIGMA * median(np.abs(off - place))
        member[mine] = len(found)
        found.append(Cluster((centre + place) % period, spread, len(mine) / repeats))
    ascending = sorted(range(len(found)), key=lambda number: found[number].place)
    rank = np.empty(len(found) + 1, np.int64)
    rank[ascending] = np.arange(len(found))
    rank[-1] = -1
    return tuple(found[number] for number in ascending), rank[member]


def _around(ordered: Floats, centre: float, reach: float, period: int) -> Ints:
    """The numbers of the places, ascending on a ring, within `reach` of a centre, or hardly more:
    all that rounding could put inside.
    """
    reach += 1e-6
    if 2 * reach >= period:
        return np.arange(len(ordered))
    low, high = (centre - reach) % period, (centre + reach) % period
    first, last = ordered.searchsorted([low, high]).tolist()
    if low <= high:
        return np.arange(first, last)
    return np.concatenate([np.arange(last), np.arange(first, len(ordered))])


def _peaks(counts: Ints, least: float, wide: int) -> list[int]:
    """Bins round which at least `least` edges lie, fullest first, none within reach of another."""
    bins = len(counts)
    if bins <= 2 * wide + 1:
        return [int(np.argmax(counts))] if counts.sum() >= least else []
    around = np.concatenate([counts[-wide:], counts, counts[:wide]])
    sums = np.convolve(around, np.ones(2 * wide + 1), "valid")
    # Of equally full windows the one with the fullest middle wins.
    score = sums + counts / (counts.max() + 1)
    taken = np.zeros(bins, bool)
    peaks = []
    for middle in np.argsort(-score, kind="stable").tolist():
        if sums[middle] < least:
            break
        if not taken[middle]:
            peaks.append(middle)
            taken[np.arange(middle - 2 * wide + 1, middle + 2 * wide) % bins] = True
    return peaks
