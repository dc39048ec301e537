"""The pin table: the stage undone, neighbours moved apart, long rests bridged."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.edges.pins import LONGEST_DELTA, PinMaker
from edgewheel.edges.stage import OutputStage
from edgewheel.edges.table import EdgeChunk, EdgeHeader
from edgewheel.errors import UsageError

HEADER = EdgeHeader(1_000_000, ("crank", "cam"), (0, 1))
LEAD, HOLD = 1000, 5
STAGE = OutputStage((True, False), (300, 0), (20, 700))


def table(*edges: tuple[int, int, int]) -> EdgeChunk:
    ticks, track, level = zip(*edges, strict=True)
    return EdgeChunk(np.array(ticks), np.array(track, np.uint8), np.array(level, np.uint8))


def made(*chunks: EdgeChunk, stage: OutputStage | None = None) -> list[tuple[int, int]]:
    maker = PinMaker(HEADER, stage or OutputStage.straight(2), LEAD, HOLD)
    pins = [
        (tick, mask)
        for chunk in maker.chunks(iter(chunks))
        for tick, mask in zip(chunk.ticks.tolist(), chunk.masks.tolist(), strict=True)
    ]
    made.moves = maker.moves
    return pins


def at_connector(pins: list[tuple[int, int]], stage: OutputStage) -> list[tuple[int, int, int]]:
    """What a stage makes of pin transitions: the slow, obvious way."""
    edges, mask = [], stage.pin_mask(HEADER.initial)
    for tick, new in pins:
        for track in range(2):
            if (mask ^ new) >> track & 1:
                level = (new >> track & 1) ^ stage.inverts[track]
                delay = (stage.rise_ticks if level else stage.fall_ticks)[track]
                edges.append((tick + delay - LEAD, track, level))
        mask = new
    return sorted(edges)


def test_edges_become_masks_on_the_same_ticks():
    assert made(table((0, 0, 1), (40, 1, 0), (90, 0, 0))) == [(1000, 3), (1040, 1), (1090, 0)]


def test_edges_of_several_tracks_on_one_tick_are_one_transition():
    assert made(table((0, 0, 1), (0, 1, 0)), table((40, 0, 0))) == [(1000, 1), (1040, 0)]


def test_one_tick_split_over_two_chunks_is_still_one_transition():
    assert made(table((0, 0, 1)), table((0, 1, 0), (40, 0, 0))) == [(1000, 1), (1040, 0)]


def test_near_edges_of_different_tracks_are_moved_apart_and_counted():
    assert made(table((0, 0, 1), (2, 1, 0))) == [(1000, 3), (1005, 1)]
    assert (made.moves.count, made.moves.largest_ticks) == (1, 3)
    assert made.moves.kept[0].track == "cam"


def test_edges_on_one_tick_are_moved_together():
    header = EdgeHeader(1_000_000, ("cam", "crank", "crank strength"), (0, 0, 0))
    maker = PinMaker(header, OutputStage.straight(3), LEAD, HOLD)
    made_of = maker.chunks([table((0, 0, 1), (2, 1, 1), (2, 2, 1))])
    pins = [(chunk.ticks.tolist(), chunk.masks.tolist()) for chunk in made_of]
    assert pins == [([1000], [0b001]), ([1005], [0b111])]
    assert maker.moves.count == 2


def test_near_edges_of_one_track_are_an_error_that_names_both():
    with pytest.raises(UsageError, match=r"'crank' changes at pin ticks 0 and 4"):
        made(table((0, 0, 1), (4, 0, 0)))
    with pytest.raises(UsageError, match=r"'crank' changes at pin ticks 0 and 0"):
        made(table((0, 0, 1), (0, 1, 0), (0, 0, 0)))


def test_a_level_that_does_not_change_is_a_mistake_of_the_table():
    with pytest.raises(ValueError, match="already has"):
        made(table((0, 0, 1), (40, 0, 1)))


def test_the_stage_is_undone():
    edges = [(0, 0, 1), (900, 1, 0), (2000, 0, 0), (4000, 1, 1), (4100, 0, 1)]
    pins = made(table(*edges), stage=STAGE)
    assert pins[0] == (1000 - 300, 0b10)
    assert at_connector(pins, STAGE) == edges


def test_a_pulse_that_the_stage_would_swallow_is_an_error_that_says_so():
    """The cam's stage falls 700 ticks later than it rises: no shorter pulse to high comes out."""
    low = (1000, 1, 0), (2000, 1, 1)
    with pytest.raises(UsageError, match=r"'cam' changes twice by pin tick 1600 .* 700 ticks"):
        made(table(*low, (2300, 1, 0)), stage=STAGE)
    edges = [*low, (2700 + HOLD, 1, 0)]
    assert at_connector(made(table(*edges), stage=STAGE), STAGE) == edges


def test_a_rest_too_long_for_the_wire_is_bridged_by_transitions_that_change_nothing():
    far = 3 * LONGEST_DELTA
    pins = made(table((0, 0, 1), (40, 1, 0), (40 + far, 0, 0)))
    assert [mask for _, mask in pins] == [3, 1, 1, 1, 0]
    assert np.diff([tick for tick, _ in pins]).tolist() == [40, *[LONGEST_DELTA] * 3]


@st.composite
def alternating(draw) -> list[tuple[int, int, int]]:
    """Edges of two tracks, each alternating, each track's at least 1000 ticks apart."""
    edges = []
    for track, level in enumerate(HEADER.initial):
        tick = 0
        for gap in draw(st.lists(st.integers(1000, 5000), max_size=20)):
            tick += gap
            level = 1 - level
            edges.append((tick, track, level))
    return sorted(edges)


@given(alternating(), st.integers(1, 9), st.sampled_from([STAGE, OutputStage.straight(2)]))
def test_the_connector_sees_the_table_and_chunks_do_not_matter(edges, size, stage):
    if not edges:
        return
    pins = made(table(*edges), stage=stage)
    assert (np.diff([tick for tick, _ in pins]) >= HOLD).all()
    seen = at_connector(pins, stage)
    assert len(seen) == len(edges)
    for wanted, found in zip(sorted(edges, key=by_track), sorted(seen, key=by_track), strict=True):
        assert wanted[1:] == found[1:]
        assert 0 <= found[0] - wanted[0] <= made.moves.largest_ticks
    chunks = [table(*edges[i : i + size]) for i in range(0, len(edges), size)]
    assert made(*chunks, stage=stage) == pins


def by_track(edge: tuple[int, int, int]) -> tuple[int, int]:
    return edge[1], edge[0]


def test_a_lead_shorter_than_the_delay_is_refused():
    with pytest.raises(ValueError, match="lead"):
        PinMaker(HEADER, STAGE, 500, HOLD)


def test_it_rests_until_the_end_that_is_wanted():
    maker = PinMaker(HEADER, OutputStage.straight(2), LEAD, HOLD)
    (edges, rest) = maker.chunks([table((0, 0, 1))], until_tick=LONGEST_DELTA + 500)
    assert (edges.ticks.tolist(), edges.masks.tolist()) == ([LEAD], [3])
    assert rest.ticks.tolist() == [LEAD + LONGEST_DELTA, LEAD + LONGEST_DELTA + 500]
    assert rest.masks.tolist() == [3, 3]
