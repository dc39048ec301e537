"""The statistics by which two releases are compared, against a general library and by hand."""

import random
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import fisher_exact, mannwhitneyu, quantile_test

from edgewheel.search.qualify.changes import Hits, fewer, holm, larger
from edgewheel.search.qualify.samples import quantile, share_of

chances = st.floats(0, 1, allow_subnormal=False)


def drawn(seed: int, count: int, shift: float, digits: int) -> list[float]:
    draws = random.Random(seed)
    return [round(draws.gauss(shift, 1), digits) for _ in range(count)]


@pytest.mark.parametrize("digits", [6, 1, 0])
@pytest.mark.parametrize(("n", "m"), [(8, 8), (5, 30), (36, 12)])
def test_larger_is_scipys_mann_whitney_with_and_without_ties(n, m, digits):
    for seed in range(20):
        values, others = drawn(seed, n, 0.4, digits), drawn(seed + 999, m, 0.0, digits)
        asked = mannwhitneyu(values, others, alternative="greater", method="asymptotic")
        assert larger(values, others) == pytest.approx(asked.pvalue, rel=1e-9)


def test_what_never_came_ranks_as_scipy_ranks_infinity():
    values, others = [5.0, float("inf"), float("inf"), 7.0], [5.0, 6.0, 6.5, float("inf")]
    asked = mannwhitneyu(values, others, alternative="greater", method="asymptotic")
    assert larger(values, others) == pytest.approx(asked.pvalue, rel=1e-9)


@given(st.integers(0, 30), st.integers(0, 30), st.integers(0, 30), st.integers(0, 30))
def test_fewer_is_scipys_exact_test_of_fisher(hits, missed, other_hits, other_missed):
    one, other = Hits(hits, hits + missed), Hits(other_hits, other_hits + other_missed)
    if one.count and other.count:
        table = [[hits, missed], [other_hits, other_missed]]
        asked = fisher_exact(table, alternative="less").pvalue
        assert fewer(one, other) == pytest.approx(asked, rel=1e-9, abs=1e-12)


def test_holm_by_hand():
    """Of four at 5 % the smallest may be 0.05/4 = 0.0125, the next 0.05/3 = 0.0167, the next
    0.05/2 = 0.025: 0.005 and 0.01 stand, 0.03 does not, and 0.04, which would stand alone, falls
    with it.
    """
    assert holm([0.01, 0.04, 0.03, 0.005], 0.05) == [True, False, False, True]
    assert holm([0.0125, 0.0166, 0.025, 0.05], 0.05) == [True] * 4
    assert holm([0.0126, 0.0126, 0.0126, 0.0126], 0.05) == [False] * 4
    assert holm([], 0.05) == []


@given(st.lists(st.one_of(chances, st.floats(0, 0.05)), min_size=1, max_size=6))
def test_holm_is_the_closure_of_bonferroni(values):
    """R. Marcus, E. Peritz and K. R. Gabriel, "On closed testing procedures", Biometrika 63 (1976):
    a hypothesis falls if every intersection with it falls; Holm 1979 is that with Bonferroni's test
    of each intersection.
    """
    everyone = range(len(values))
    families = [set(f) for size in everyone for f in combinations(everyone, size + 1)]
    closure = [
        all(min(values[i] for i in f) <= 0.05 / len(f) for f in families if index in f)
        for index in everyone
    ]
    assert holm(values, 0.05) == closure


@pytest.mark.parametrize("share", [0.5, 0.9])
@pytest.mark.parametrize("count", [5, 8, 12, 36, 40, 61])
def test_a_quantiles_interval_is_scipys_from_order_statistics(share, count):
    values = drawn(count, count, 0.0, 6)
    interval = quantile_test(values, q=0, p=share).confidence_interval(0.95)
    measured = quantile(values, share, "ms")
    ends = [None if abs(end) == float("inf") else end for end in (measured.low, measured.high)]
    theirs = [None if end != end else end for end in (interval.low, interval.high)]
    assert ends == theirs


def test_a_share_has_its_interval_in_percent():
    """Clopper and Pearson for 0 of n ends at 1 - 0.025^(1/n), from the definition."""
    measured = share_of(0, 20)
    assert (measured.value, measured.low) == (0, 0)
    assert measured.high == pytest.approx(100 * (1 - 0.025 ** (1 / 20)))
