"""Bounce: exactly the pulses that its docstring promises, whatever the chunks."""

import pytest

from signals import Signal, sound

RISES = [0, 15_000, 30_000, 45_000, 60_000, 75_000, 90_000, 105_000]
FALLS = [tick + 7_500 for tick in RISES]


def added(fault: str) -> list[tuple[int, int]]:
    signal = Signal(f"{{worn: {{kind: bounce, track: crank, {fault}}}}}")
    signal.check_playable()
    assert signal.on("cam") == sound().on("cam")
    assert set(sound().rows) <= set(signal.rows)
    return sorted(set(signal.on("crank")) - set(sound().on("crank")))


def test_each_edge_gets_a_pulse_after_the_delay():
    expected = [(tick + t, level) for tick in RISES for t, level in ((60, 0), (70, 1))]
    assert added("delay_us: 60, width_us: 10, after: rise") == expected


def test_pulses_repeat_by_the_delay():
    assert added("delay_us: 60, width_us: 10, count: 2, after: fall") == [
        (tick + t, level) for tick in FALLS for t, level in ((60, 1), (70, 0), (120, 1), (130, 0))
    ]


def test_a_percentage_is_of_the_last_period_of_the_same_kind_of_edge():
    assert added("delay_percent: 20, width_us: 10, after: rise") == [
        (tick + t, level) for tick in RISES[1:] for t, level in ((3000, 0), (3010, 1))
    ]


def test_a_pulse_that_does_not_end_before_the_next_edge_is_left_out():
    last = FALLS[-1]
    assert added("delay_us: 7490, width_us: 10, after: fall") == [
        (last + 7490, 1),
        (last + 7500, 0),
    ]
    assert len(added("delay_us: 7489, width_us: 10, after: fall")) == 16


@pytest.mark.parametrize("size", [1, 2, 3, 5])
@pytest.mark.parametrize("delay", ["delay_percent: 20", "delay_us: 2300"])
def test_chunks_do_not_matter(size, delay):
    signal = Signal(f"{{a: {{kind: bounce, track: crank, width_us: 10, count: 2, {delay}}}}}")
    assert signal.in_chunks(size) == signal.rows
