"""Bounce: exactly the pulses that its docstring promises, whatever the chunks."""

from fractions import Fraction

import numpy as np
import pytest

from edgewheel.edges.table import EdgeChunk, EdgeHeader, join
from edgewheel.fault.bounce import Bounce
from edgewheel.fault.model import Changes

HEADER = EdgeHeader(1_000_000, ("crank", "cam"), (0, 0))
SOUND = [(0, 0, 1), (500, 0, 0), (700, 1, 1), (1000, 0, 1), (1500, 0, 0), (2000, 0, 1)]


def faulty(fault: Bounce, size: int = 100, sound=SOUND) -> list[tuple[int, int, int]]:
    chunks = []
    for start in range(0, len(sound), size):
        ticks, track, level = zip(*sound[start : start + size], strict=True)
        chunks.append(
            EdgeChunk(np.array(ticks), np.array(track, np.uint8), np.array(level, np.uint8))
        )
    faulty.changes = Changes()
    table = join(*fault.apply(HEADER, chunks, faulty.changes))
    columns = (table.ticks.tolist(), table.track.tolist(), table.level.tolist())
    return list(zip(*columns, strict=True))


def added(fault: Bounce, **how) -> list[tuple[int, int, int]]:
    return sorted(set(faulty(fault, **how)) - set(SOUND))


def test_each_edge_gets_a_pulse_after_the_delay():
    fault = Bounce("crank", Fraction(10), Fraction(60), after="rise")
    assert added(fault) == [
        (60, 0, 0),
        (70, 0, 1),
        (1060, 0, 0),
        (1070, 0, 1),
        (2060, 0, 0),
        (2070, 0, 1),
    ]
    assert faulty.changes.count == 3
    assert faulty.changes.kept[0].tick == 60


def test_pulses_repeat_by_the_delay():
    fault = Bounce("crank", Fraction(10), Fraction(60), count=2, after="fall")
    assert added(fault) == [
        (tick, 0, level)
        for edge in (500, 1500)
        for tick, level in ((60, 1), (70, 0), (120, 1), (130, 0))
        for tick in (edge + tick,)
    ]


def test_a_percentage_is_of_the_last_period_of_the_same_kind_of_edge():
    fault = Bounce("crank", Fraction(10), delay_percent=Fraction(20), after="rise")
    assert added(fault) == [(1200, 0, 0), (1210, 0, 1), (2200, 0, 0), (2210, 0, 1)]


def test_a_pulse_that_does_not_end_before_the_next_edge_is_left_out():
    assert added(Bounce("crank", Fraction(10), Fraction(490), after="rise"))[-1] == (2500, 0, 1)
    assert len(added(Bounce("crank", Fraction(10), Fraction(490), after="rise"))) == 2


def test_the_other_track_stays_as_it_was():
    assert [edge for edge in faulty(Bounce("crank", Fraction(5), Fraction(9))) if edge[1]] == [
        (700, 1, 1)
    ]


@pytest.mark.parametrize("size", [1, 2, 3, 5])
@pytest.mark.parametrize("percent", [0, 20])
def test_chunks_do_not_matter(size, percent):
    delay = {"delay_percent": Fraction(percent)} if percent else {"delay_us": Fraction(230)}
    fault = Bounce("crank", Fraction(10), count=2, **delay)
    assert faulty(fault, size) == faulty(fault)
