"""Delta debugging against what its authors published.

A. Zeller, R. Hildebrandt, Simplifying and Isolating Failure-Inducing Input, IEEE Transactions on
Software Engineering 28(2), 2002, section 3: of eight changes of which 1, 7 and 8 together fail,
ddmin finds these three in "a total of 19 different tests" (the two that the method takes for
granted included), and no case takes more than n^2 + 3n tests; if one change is the cause, 2 log2 n
do.
The example, its number of tests and the bounds are from memory of the paper.
"""

from itertools import combinations
from math import ceil, log2

import pytest

from edgewheel.search.ddmin import Subset, ddmin, drive


class Counted:
    """A test that fails if all needed changes are in, and counts different subsets."""

    def __init__(self, needed):
        self.needed = set(needed)
        self.seen: dict[Subset, bool] = {}

    def __call__(self, subset: Subset) -> bool:
        return self.seen.setdefault(subset, self.needed <= set(subset))


def minimised(count: int, needed) -> tuple[Subset, int]:
    """What is left, and how many different tests it took with those of all and of none."""
    test = Counted(needed)
    found = drive(ddmin(count), test)
    return found, len(test.seen) + 2


def test_the_published_example():
    found, tests = minimised(8, [0, 6, 7])
    assert [number + 1 for number in found] == [1, 7, 8]
    assert tests == 19 <= 8 * 8 + 3 * 8


@pytest.mark.parametrize(
    "needed", [n for size in (1, 2, 3, 4) for n in combinations(range(8), size)]
)
def test_every_cause_of_up_to_four_of_eight_is_found_within_the_bound(needed):
    found, tests = minimised(8, needed)
    assert found == needed
    assert tests <= 8 * 8 + 3 * 8


def test_all_changes_needed_is_the_worst_case_and_within_the_bound():
    found, tests = minimised(8, range(8))
    assert found == tuple(range(8))
    assert tests <= 8 * 8 + 3 * 8


@pytest.mark.parametrize("count", [2, 3, 100, 1024, 5000])
def test_a_single_cause_takes_twice_the_logarithm(count):
    for cause in (0, count // 3, count - 1):
        found, tests = minimised(count, [cause])
        assert found == (cause,)
        assert tests - 2 <= 2 * ceil(log2(count))


def test_the_result_is_minimal_by_single_changes_even_where_failing_is_not_monotonic():
    """Fails if an odd number of a few changes is in: what is left fails, and none can be spared."""

    def fails(subset: Subset) -> bool:
        return sum(number % 5 == 0 for number in subset) % 2 == 1

    found = drive(ddmin(35), fails)
    assert fails(found)
    assert not any(fails(tuple(n for n in found if n != gone)) for gone in found)
