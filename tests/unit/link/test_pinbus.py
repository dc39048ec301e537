"""The output stage between the board's pins and the controller's."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.edges.stage import OutputStage
from edgewheel.link.pinbus import Transitions, Wiring


def batch(*rows):
    return Transitions(
        np.array([t for t, _ in rows], np.int64), np.array([m for _, m in rows], np.uint8)
    )


def rows(transitions):
    return list(zip(transitions.ticks.tolist(), transitions.masks.tolist(), strict=True))


def test_a_plain_wire_costs_nothing():
    transitions = batch((10, 1), (20, 0))
    assert Wiring(OutputStage.straight(2)).pass_on(transitions, 100) is transitions


def test_inverted_lines_are_turned_over():
    wiring = Wiring(OutputStage((True, False), (0, 0), (0, 0)))
    assert rows(wiring.pass_on(batch((10, 1), (20, 2), (30, 3)), 100)) == [
        (10, 0),
        (20, 3),
        (30, 2),
    ]


def test_each_polarity_has_its_own_delay():
    wiring = Wiring(OutputStage((False, False), (5, 0), (2, 0)))
    assert rows(wiring.pass_on(batch((10, 1), (20, 2)), 21)) == [(15, 1), (20, 3)]
    assert rows(wiring.pass_on(batch(), 100)) == [(22, 2)]


def test_the_delay_is_that_of_the_edge_at_the_far_end():
    wiring = Wiring(OutputStage((True,), (5,), (2,)))
    assert rows(wiring.pass_on(batch((10, 1), (20, 0)), 100)) == [(12, 0), (25, 1)]


def test_a_pulse_shorter_than_the_difference_of_the_delays_vanishes():
    wiring = Wiring(OutputStage((False,), (9,), (2,)))
    assert rows(wiring.pass_on(batch((10, 1), (15, 0), (40, 1)), 100)) == [(49, 1)]


@given(
    st.lists(st.tuples(st.integers(1, 30), st.integers(0, 3)), max_size=30),
    st.integers(1, 12),
    st.integers(0, 8),
    st.integers(0, 8),
)
def test_batches_do_not_matter(steps, size, rise, fall):
    ticks = np.cumsum([step for step, _ in steps], dtype=np.int64)
    masks = np.array([mask for _, mask in steps], np.uint8)
    stage = OutputStage((False, True), (rise, 3), (fall, 0))
    whole = Wiring(stage).pass_on(Transitions(ticks, masks), 10_000)
    wiring, pieces = Wiring(stage), []
    for at in range(0, len(ticks), size):
        piece = Transitions(ticks[at : at + size], masks[at : at + size])
        pieces += rows(wiring.pass_on(piece, int(piece.ticks[-1])))
    pieces += rows(wiring.pass_on(batch(), 10_000))
    assert pieces == rows(whole)
