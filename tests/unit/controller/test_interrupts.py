"""The interrupt queue is the textbook's single server with room for K."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.controller.sim.interrupts import InterruptQueue


def served(queue, ticks, cost):
    ticks = np.array(ticks, dtype=np.int64)
    return queue.serve(ticks, np.full(len(ticks), cost, dtype=np.int64))


@pytest.mark.parametrize("waiting_edges", [0, 1, 7])
def test_evenly_spaced_edges_overflow_if_and_only_if_they_are_closer_than_the_cost(waiting_edges):
    ticks = np.arange(0, 20_000)
    _, lost = served(InterruptQueue(waiting_edges), ticks * 100, cost=100)
    assert not lost.any()
    _, lost = served(InterruptQueue(waiting_edges), ticks * 100, cost=101)
    assert lost.any()


def test_once_full_it_loses_what_the_server_cannot_carry():
    _, lost = served(InterruptQueue(3), np.arange(0, 100_000, 10), cost=16)
    assert lost.mean() == pytest.approx(1 - 10 / 16, abs=0.001)


def test_the_room_is_for_the_one_in_service_and_those_that_wait():
    done, lost = served(InterruptQueue(2), [0, 1, 2, 3, 4], cost=100)
    assert lost.tolist() == [False, False, False, True, True]
    assert done.tolist() == [100, 200, 300, 300, 300]


def test_room_is_made_at_the_tick_at_which_work_is_done():
    _, lost = served(InterruptQueue(0), [0, 100, 199, 200], cost=100)
    assert lost.tolist() == [False, False, True, False]


@given(st.lists(st.integers(0, 60), min_size=1, max_size=80), st.integers(0, 3), st.data())
def test_the_cuts_do_not_matter(gaps, waiting_edges, data):
    ticks = np.cumsum(gaps).astype(np.int64)
    costs = np.array(
        data.draw(st.lists(st.integers(0, 50), min_size=len(ticks), max_size=len(ticks)))
    )
    whole = InterruptQueue(waiting_edges).serve(ticks, costs)
    queue = InterruptQueue(waiting_edges)
    pieces = [queue.serve(ticks[k : k + 3], costs[k : k + 3]) for k in range(0, len(ticks), 3)]
    for column, expected in enumerate(whole):
        assert np.concatenate([piece[column] for piece in pieces]).tolist() == expected.tolist()
