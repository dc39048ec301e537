"""Each captured pulse is told once, and one that never came is said."""

import pytest

from edgewheel.link.events import PulsesCaptured, PulsesMissing
from edgewheel.link.messages import Pulses
from edgewheel.link.pulse_count import PulseCount

FIRST, SECOND, FOURTH = (Pulses(n, (100 * n + 5, 100 * n + 50), (1, 0)) for n in (0, 2, 6))


def told(*frames, armed=True):
    count = PulseCount()
    return [event for frame in frames for event in count.take(frame, armed)]


def captured(frame):
    return PulsesCaptured(frame.first, frame.ticks, frame.levels)


def test_a_frame_that_comes_twice_is_told_once():
    assert told(FIRST, FIRST, SECOND, FIRST) == [captured(FIRST), captured(SECOND)]


def test_what_never_came_is_counted():
    assert told(FIRST, FOURTH) == [captured(FIRST), PulsesMissing(4), captured(FOURTH)]


@pytest.mark.parametrize(("frame", "known"), [(FIRST, [captured(FIRST)]), (SECOND, [])])
def test_before_the_run_is_armed_only_its_beginning_can_be_its_own(frame, known):
    assert told(frame, armed=False) == known


def test_numbers_go_on_where_the_wires_begin_anew():
    count = PulseCount()
    count.take(Pulses(0, (5,), (1,)), True)
    for first in (1 << 31) - 1, (1 << 32) - 2:
        count.take(Pulses(first, (10, 20), (0, 1)), True)
    *_, last = count.take(Pulses(1, (30,), (0,)), True)
    assert last == PulsesCaptured((1 << 32) + 1, (30,), (0,))


def test_a_total_that_the_board_says_again_loses_nothing_more():
    count = PulseCount()
    said = [count.lost_on_board(total) for total in (0, 3, 3, 5)]
    assert said == [[], [PulsesMissing(3)], [], [PulsesMissing(2)]]
