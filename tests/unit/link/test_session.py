"""Whatever the link does, what the board plays is the pin table, or a fault says so."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import wire_vectors
from edgewheel.edges.table import PinHeader
from edgewheel.link.events import (
    LinkFailed,
    Parked,
    PulsesCaptured,
    PulsesMissing,
    RunEnded,
    RunStarted,
    StateChanged,
)
from edgewheel.link.hostrun import Live, RunOrder
from edgewheel.link.messages import Reason, State
from edgewheel.link.pinbus import Pulse
from edgewheel.link.sim_link import LinkFaults
from sim_bench import HZ, MS, SETTINGS, Bench, assert_is_prefix, chunks

TABLE = wire_vectors.wheel_table(60, HZ, wire_vectors.steady(3000.7), first_tick=2000)
POOR_LINK = LinkFaults(drop=0.02, duplicate=0.02, reorder=0.02, corrupt=0.02, truncate=0.02)
BAD_LINK = LinkFaults(drop=0.05, duplicate=0.05, reorder=0.05, corrupt=0.05, truncate=0.05)


def test_a_run_from_end_to_end():
    bench = Bench()
    ended = bench.play(TABLE, lag_hint=234)
    assert (ended.reason, ended.verified) == (Reason.END, True)
    assert (ended.played, ended.last_tick) == (len(TABLE[0]), TABLE[0][-1])
    assert_is_prefix(bench.played(ended), TABLE)
    states = [event.state for event in bench.all(StateChanged)]
    assert states == [State.IDLE, State.RUNNING, State.HOLDING, State.IDLE] or states == [
        State.IDLE,
        State.ARMED,
        State.RUNNING,
        State.HOLDING,
        State.IDLE,
    ]
    assert bench.all(RunStarted)[0].start_tick == ended.start_tick
    parked = bench.all(Parked)[0].tick - ended.start_tick - ended.last_tick
    assert parked == pytest.approx(1000 * MS, abs=1)


@pytest.mark.parametrize("live", [None, Live()])
@settings(deadline=None, max_examples=6)
@given(seed=st.integers(0, 10_000))
def test_what_is_played_is_the_table_on_a_bad_link(live, seed):
    faults = POOR_LINK if live else BAD_LINK
    bench = Bench(faults=faults, latency_ns=1_000_000, bytes_per_s=500_000, seed=seed)
    ended = bench.play(TABLE, lag_hint=234, live=live, prefill_ms=800)
    assert_is_prefix(bench.played(ended), TABLE)
    assert ended.verified, ended.explain()
    assert ended.quality.retransmits > 0
    assert ended.quality.bad_from_board + ended.quality.bad_from_host > 0
    assert ended.quality.board_gaps > 0


def test_a_terrible_link_ends_in_a_fault_that_says_where():
    faults = LinkFaults(drop=0.6)
    for seed in range(5):
        bench = Bench(faults=faults, latency_ns=2_000_000, bytes_per_s=11_500, seed=seed)
        bench.open(chunks(TABLE), live=Live(ahead_ms=100))
        last = bench.until(RunEnded)
        if isinstance(last, LinkFailed):
            continue
        assert_is_prefix(bench.played(last), TABLE)
        assert last.verified or (last.faulted and str(last.played) in last.explain())


def test_several_runs_one_after_the_other():
    bench = Bench()
    first = bench.play(TABLE)
    second = bench.play((TABLE[0][:1000], TABLE[1][:1000]))
    assert (first.run, second.run) == (1, 2)
    assert second.verified
    assert second.played == 1000


def test_an_empty_table_ends_at_once():
    ended = Bench().play((np.zeros(0, np.int64), np.zeros(0, np.uint8)))
    assert (ended.verified, ended.played) == (True, 0)


def test_the_sizes_of_the_chunks_change_nothing_on_the_pins():
    small, large = Bench(), Bench()
    small.open(chunks(TABLE, 100))
    large.open(chunks(TABLE, 10_000))
    ends = small.until(RunEnded), large.until(RunEnded)
    assert ends[0] == ends[1]
    np.testing.assert_array_equal(small.pins.ticks, large.pins.ticks)


def echo(transitions, until_tick):
    """A controller that fires a pulse at each rise of output 0."""
    pulses = []
    for tick, mask in zip(transitions.ticks.tolist(), transitions.masks.tolist(), strict=True):
        pulses.append(Pulse(tick, 3, mask & 1))
    return pulses


def test_pulses_come_back_with_their_ticks():
    bench = Bench(answer=echo)
    ended = bench.play(TABLE)
    ticks = [tick for e in bench.all(PulsesCaptured) for tick in e.ticks]
    levels = [level for e in bench.all(PulsesCaptured) for level in e.levels]
    crank = np.flatnonzero(np.diff(TABLE[1] & 1, prepend=0))
    assert ticks[: len(crank)] == (TABLE[0][crank] + ended.start_tick).tolist()
    assert levels[: len(crank)] == (8 * (TABLE[1][crank] & 1)).tolist()
    assert bench.all(PulsesMissing) == []


def test_pulses_that_got_lost_are_missed():
    bench = Bench(answer=echo, faults=LinkFaults(drop=0.1), seed=3)
    bench.play(TABLE)
    got = sum(len(e.ticks) for e in bench.all(PulsesCaptured))
    missing = sum(e.count for e in bench.all(PulsesMissing))
    assert missing > 0
    last = bench.all(PulsesCaptured)[-1]
    assert got + missing == last.first + len(last.ticks)


def test_run_ticks_go_beyond_32_bits():
    """At 125 MHz the low 32 bits come round every 34 seconds."""
    fast = replace(SETTINGS, tick_hz=125_000_000)
    hold = 20 * fast.tick_hz
    table = (np.array([2000, hold, 2 * hold, 2 * hold + 500]), np.array([1, 0, 1, 0], np.uint8))
    bench = Bench(fast)
    header = PinHeader(fast.tick_hz, 0, 0)
    bench.session.open_run(RunOrder(header, chunks(table)))
    bench.loop.settle()
    ended = bench.until(RunEnded)
    assert ended.verified
    assert ended.last_tick == 2 * hold + 500 > 2**32
    assert_is_prefix(bench.played(ended), table)
