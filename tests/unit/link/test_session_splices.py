"""A live run changes its course where the board says that it did."""

import numpy as np
import pytest

import wire_vectors
from edgewheel.edges.table import PinChunk
from edgewheel.errors import UsageError
from edgewheel.link.events import (
    RunEnded,
    RunStarted,
    SpliceRefused,
    SpliceTaken,
)
from edgewheel.link.hostrun import Live
from edgewheel.link.sim_link import LinkFaults
from sim_bench import HZ, MS, Bench, assert_is_prefix, chunks

TABLE = wire_vectors.wheel_table(60, HZ, wire_vectors.steady(3000.7), first_tick=2000)
BAD_LINK = LinkFaults(drop=0.05, duplicate=0.05, reorder=0.05, corrupt=0.05, truncate=0.05)


def splice_to(table_from, log):
    """A new course: from the point on, what `table_from(point)` gives."""

    def make(point):
        log.append(point)
        return chunks(table_from(point))

    return make


def faster(point):
    """Even pulses a millisecond apart from the point on, then the end."""
    ticks = point.from_tick + np.arange(500) * MS
    return ticks, (np.arange(500) % 2 * 8 + 4).astype(np.uint8)


def test_a_course_that_ends_before_its_splice_arrives_is_the_whole_table():
    bench = Bench(latency_ns=5_000_000)
    bench.open(chunks(TABLE), live=Live())
    bench.until(RunStarted)
    bench.wait(TABLE[0][-1] / MS - 10)
    bench.session.splice(splice_to(faster, []))
    bench.loop.settle()
    ended = bench.until(RunEnded)
    assert ended.verified
    assert_is_prefix(bench.played(ended), TABLE)
    bench.session.splice(splice_to(faster, []))  # whoever orders may not have heard of the end yet


@pytest.mark.parametrize("latency_ms", [0, 3, 15])
def test_a_splice_lands_where_the_board_says(latency_ms):
    bench = Bench(latency_ns=latency_ms * 1_000_000)
    bench.open(chunks(TABLE), live=Live())
    bench.until(RunStarted)
    bench.wait(700)
    asked, log = bench.now_ms, []
    bench.session.splice(splice_to(faster, log))
    bench.loop.settle()
    taken = bench.until(SpliceTaken)
    assert taken.first == log[-1].first
    ended = bench.until(RunEnded)
    assert ended.verified
    played = bench.played(ended)
    assert_is_prefix((played[0][: taken.first], played[1][: taken.first]), TABLE)
    new = faster(log[-1])
    np.testing.assert_array_equal(played[0][taken.first :], new[0])
    np.testing.assert_array_equal(played[1][taken.first :], new[1])
    woke_earlier_ms = 1000
    first_new_ms = (ended.start_tick + new[0][0]) / MS - woke_earlier_ms
    assert 20 <= first_new_ms - asked < 100


def test_splices_on_a_bad_link_are_refused_or_land():
    refused = 0
    for seed in range(6):
        bench = Bench(faults=BAD_LINK, latency_ns=2_000_000, seed=seed)
        bench.open(chunks(TABLE), live=Live())
        bench.until(RunStarted)
        bench.wait(400)
        log = []
        bench.session.splice(splice_to(faster, log))
        bench.loop.settle()
        ended = bench.until(RunEnded)
        refused += len(bench.all(SpliceRefused))
        taken = bench.all(SpliceTaken)
        played = bench.played(ended)
        if taken:
            point = log[-1]
            table = [
                np.concatenate((a[: point.first], b))
                for a, b in zip(TABLE, faster(point), strict=True)
            ]
            assert_is_prefix(played, table)
        else:
            assert_is_prefix(played, TABLE)
        assert ended.verified or ended.faulted


def test_a_splice_that_comes_too_late_is_tried_again_later(monkeypatch):
    import edgewheel.link.hostrun as module

    monkeypatch.setattr(module, "_SPLICE_SLACK_MS", 1)
    bench = Bench(latency_ns=30_000_000)
    bench.session._poller.rtt_ns = 1
    bench.open(chunks(TABLE), live=Live())
    bench.until(RunStarted)
    bench.wait(200)
    bench.session._poller.rtt_ns = 1
    log = []
    bench.session.splice(splice_to(faster, log))
    bench.loop.settle()
    ended = bench.until(RunEnded)
    assert bench.all(SpliceRefused)
    assert bench.all(SpliceTaken)
    assert ended.verified


def test_many_changes_of_course_one_after_the_other():
    """A live run whose speed is changed 30 times; each course would go on for ever."""
    bench = Bench(latency_ns=1_000_000)
    log = []

    def course(period):
        def make(point):
            log.append((point, period))
            at = point.from_tick
            while True:
                ticks = at + np.arange(200, dtype=np.int64) * period
                at = int(ticks[-1]) + period
                yield PinChunk(ticks, (np.arange(200) % 2).astype(np.uint8))

        return make

    class Begin:
        first, after_tick, from_tick = 0, 0, 2000

    bench.open(course(MS)(Begin), live=Live())
    bench.until(RunStarted)
    for change in range(30):
        bench.session.splice(course(MS // 2 + change * 800))
        bench.loop.settle()
        bench.until(SpliceTaken)
        bench.wait(37)
    bench.stop()
    ended = bench.until(RunEnded)
    ticks, _ = bench.played(ended)
    for (point, period), (after, _) in zip(log, [*log[1:], (None, 0)], strict=True):
        mine = ticks[point.first : after.first if after else None]
        if len(mine):
            assert mine[0] == point.from_tick
            assert set(np.diff(mine).tolist()) <= {period}


def test_a_stall_of_seconds_can_be_left_by_a_splice():
    """The engine stands for ten seconds; the new course begins long before the next tooth."""
    slow = (np.array([2000, 4000, 4000 + 10 * HZ]), np.array([1, 0, 1], np.uint8))
    bench = Bench()
    bench.open(chunks(slow), live=Live())
    bench.until(RunStarted)
    bench.wait(3000)
    log = []
    bench.session.splice(splice_to(faster, log))
    bench.loop.settle()
    bench.until(SpliceTaken)
    ended = bench.until(RunEnded)
    assert ended.verified
    assert log[-1].first == 2
    assert ended.last_tick < 4 * HZ


def test_only_a_live_run_changes_course():
    bench = Bench()
    bench.open(chunks(TABLE))
    with pytest.raises(UsageError, match="live"):
        bench.session.splice(faster)
