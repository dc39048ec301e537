"""Minimising delta debugging: of many changes that fail together, few that fail by themselves.

The algorithm ddmin of Zeller and Hildebrandt, Simplifying and Isolating Failure-Inducing Input,
IEEE Transactions on Software Engineering 28(2), 2002. It does no tests itself: it yields subsets
and is sent whether they fail, so that whoever drives it may count, keep, stop and go on.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from itertools import pairwise
from typing import TypeVar

Subset = tuple[int, ...]
"""Numbers of changes, ascending."""

_Result = TypeVar("_Result")


def ddmin(count: int) -> Generator[Subset, bool, Subset]:
    """Yield subsets of `count` changes to test; return one of which no single change can be spared.

    All changes together must fail and none of them must pass; neither is tested here. A test that
    cannot be done counts as passed. A subset may be yielded more than once; by the paper no more
    than n^2 + 3n different ones, and about 2 log2 n if one change alone is the cause.
    """
    left: Subset = tuple(range(count))
    parts = 2
    while len(left) >= 2:
        pieces = split(left, parts)
        smaller = yield from _first_failing(pieces)
        if smaller is not None:
            left, parts = smaller, 2
            continue
        smaller = yield from _first_failing([_without(left, piece) for piece in pieces])
        if smaller is not None:
            left, parts = smaller, max(parts - 1, 2)
        elif parts < len(left):
            parts = min(2 * parts, len(left))
        else:
            break
    return left


def split(subset: Subset, parts: int) -> list[Subset]:
    """A subset in so many pieces of about the same size, none of them empty."""
    borders = [len(subset) * number // parts for number in range(parts + 1)]
    return [subset[begin:end] for begin, end in pairwise(borders) if begin < end]


def drive(search: Generator[Subset, bool, _Result], fails: Callable[[Subset], bool]) -> _Result:
    """Run a search to its end with a test."""
    try:
        subset = next(search)
        while True:
            subset = search.send(fails(subset))
    except StopIteration as end:
        result: _Result = end.value
        return result


def _first_failing(candidates: list[Subset]) -> Generator[Subset, bool, Subset | None]:
    for candidate in candidates:
        if (yield candidate):
            return candidate
    return None


def _without(subset: Subset, piece: Subset) -> Subset:
    gone = set(piece)
    return tuple(number for number in subset if number not in gone)
