"""What prediction may look back on, and what a splice brings back."""

import numpy as np
import pytest

from edgewheel.link.history import History


def filled(depth, keep, count, piece=500):
    """A history of `count` transitions whose deltas are their indices."""
    history = History(depth, keep)
    for at in range(0, count, piece):
        new = np.arange(at, min(at + piece, count))
        deltas, masks, end = history.room(len(new))
        deltas[end : end + len(new)] = new
        masks[end : end + len(new)] = new & 0xFF
        history.commit(len(new), int(new[-1]))
    return history


@pytest.mark.parametrize("count", [50, 1000, 20_000, 50_000])
def test_the_last_transitions_are_always_there(count):
    deltas, masks = filled(100, 0, count).tail(100)
    expected = np.arange(max(0, count - 100), count)
    np.testing.assert_array_equal(deltas, expected)
    np.testing.assert_array_equal(masks, expected & 0xFF)


def test_what_is_not_committed_leaves_no_trace():
    history = filled(100, 0, 1000)
    deltas, _, end = history.room(10)
    deltas[end : end + 10] = -1
    assert history.tail(100)[0].min() == 900
    assert history.count == 1000


@pytest.mark.parametrize("count", [49_000, 50_000, 40_100])
def test_going_back_brings_all_that_prediction_may_want(count):
    earlier = filled(100, 10_000, 50_000).truncated(count, 7)
    assert (earlier.count, earlier.tick) == (count, 7)
    np.testing.assert_array_equal(earlier.tail(100)[0], np.arange(count - 100, count))


def test_a_second_splice_may_go_back_further_than_the_first():
    first = filled(100, 10_000, 50_000).truncated(49_000, 7)
    np.testing.assert_array_equal(
        first.truncated(45_000, 5).tail(100)[0], np.arange(44_900, 45_000)
    )


def test_going_back_too_far_is_an_error():
    history = filled(100, 10_000, 50_000)
    for count in (10_000, 50_001):
        with pytest.raises(ValueError, match="outside the history"):
            history.truncated(count, 0)
    assert filled(100, 0, 50).truncated(0, 0).count == 0
