"""Whatever the link does, what the board plays is the pin table, or a fault says so."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import wire_vectors
from edgewheel.board.sim import SimBoard
from edgewheel.edges.table import PinChunk, PinHeader
from edgewheel.errors import BenchError, BenchTimeoutError, UsageError
from edgewheel.link.events import (
    BoardStatus,
    Connected,
    LinkFailed,
    Parked,
    PulsesCaptured,
    PulsesMissing,
    RunEnded,
    RunStarted,
    SpliceRefused,
    SpliceTaken,
    StateChanged,
)
from edgewheel.link.frames import FrameDecoder
from edgewheel.link.greeting import (
    BoardWish,
    NoAnswerError,
    WrongBoardError,
    WrongVersionError,
)
from edgewheel.link.hostrun import Live, RunOrder
from edgewheel.link.messages import Edges, Reason, State, Stop
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


# Greeting


def test_no_answer():
    bench = Bench(connect=False, faults=LinkFaults(cut_ns=0))
    failed = bench.until(Connected)
    assert bench.now_ms == pytest.approx(4000, abs=1)
    assert isinstance(failed.error, NoAnswerError)
    assert isinstance(failed.error, BenchTimeoutError)
    assert "not a byte came" in str(failed.error)
    assert "edgewheel flash" in str(failed.error)


def test_no_answer_but_noise():
    bench = Bench(connect=False, faults=LinkFaults(corrupt=1))
    assert "none of them was a frame" in str(bench.until(Connected).error)


def test_a_board_that_wakes_late_is_found():
    bench = Bench(connect=False, faults=LinkFaults(drop=0.7), seed=4)
    assert isinstance(bench.until(Connected), Connected)


def test_another_version(monkeypatch):
    monkeypatch.setattr("edgewheel.board.sim.MAJOR", 2)
    failed = Bench(connect=False).until(Connected)
    assert isinstance(failed.error, WrongVersionError)
    assert "speaks protocol 2.0, this program 1.0" in str(failed.error)
    assert "edgewheel flash" in str(failed.error)


@pytest.mark.parametrize("wish", [BoardWish(board=2), BoardWish(unique_id=b"another1")])
def test_another_board(wish):
    failed = Bench(connect=False, session={"wish": wish}).until(Connected)
    assert isinstance(failed.error, WrongBoardError)
    assert "the simulated board with the id 73696d756c617465, not" in str(failed.error)
    assert "edgewheel flash" in str(failed.error)


def test_the_run_of_a_host_that_is_gone_is_stopped_first():
    bench = Bench()
    bench.open(chunks(TABLE), host_timeout_ms=60_000)
    bench.until(RunStarted)
    from edgewheel.board.virtual import VirtualBench
    from edgewheel.link.session import Session, SessionSettings

    session = Session(SessionSettings(number=2), bench.loop.clock.now_ns())
    loop = VirtualBench(session, bench.board, bench.pins, clock=bench.loop.clock)
    seen = loop.run_until(lambda events: any(isinstance(e, Connected) for e in events))
    assert [e.state for e in seen if isinstance(e, StateChanged)][-1] == State.HOLDING
    with pytest.raises(UsageError):
        session.splice(lambda _: iter([]))


# Trouble in a run


def test_a_slow_link_starves_the_board_and_it_says_so():
    bench = Bench(bytes_per_s=2_500, session={"bytes_per_s": 2_500})
    table = wire_vectors.wheel_table(100, HZ, wire_vectors.steady(8000.1), first_tick=2000)
    ended = bench.play(table, lag_hint=234, prefill_ms=50)
    assert (ended.reason, ended.verified) == (Reason.STARVED, False)
    assert "too slow" in ended.explain()
    assert_is_prefix(bench.played(ended), table)


def test_a_cut_cable_loses_the_bench_and_the_board_stops_by_itself():
    bench = Bench(faults=LinkFaults(cut_ns=1_000_000_000))
    bench.open(chunks(TABLE))
    failed = bench.until(RunEnded)
    assert isinstance(failed, LinkFailed)
    assert failed.error.exit_code == BenchError.exit_code
    assert "said nothing for 1000 ms" in str(failed.error)
    assert bench.now_ms < 2100
    bench.board.advance(3 * HZ)
    assert bench.board._run.reason == Reason.HOST_SILENT


def test_a_restarted_board_is_noticed():
    bench = Bench()
    bench.open(chunks(TABLE))
    bench.until(RunStarted)
    bench.wait(300)
    bench.loop.board = SimBoard(SETTINGS, tick=0)
    failed = bench.until(RunEnded)
    assert isinstance(failed, LinkFailed)
    assert "restarted" in str(failed.error)


def test_a_board_that_plays_less_than_was_sent_is_not_believed(monkeypatch):
    honest = SimBoard._status

    def lie(self, tick):
        status = honest(self, tick)
        return replace(status, played=status.played - (status.played > 0))

    monkeypatch.setattr(SimBoard, "_status", lie)
    ended = Bench().play(TABLE)
    assert not ended.verified
    assert ended.faulted


def test_stop_holds_and_park_parks():
    bench = Bench()
    bench.open(chunks(TABLE), idle=0x40)
    bench.wait(500)
    bench.stop()
    ended = bench.until(RunEnded)
    assert (ended.reason, ended.verified) == (Reason.STOP, False)
    assert_is_prefix(bench.played(ended), TABLE)
    assert bench.pins.masks[-1] != 0x40
    bench.until(Parked)
    assert bench.pins.masks[-1] == 0x40
    assert bench.play(TABLE).verified


def test_park_at_once():
    bench = Bench()
    bench.open(chunks(TABLE), idle=0x40)
    bench.wait(500)
    at = bench.now_ms
    bench.stop(park=True)
    bench.until(Parked)
    assert bench.now_ms - at < 10
    assert bench.pins.masks[-1] == 0x40


@pytest.mark.parametrize("seed", range(4))
def test_stop_is_said_until_it_is_heard(seed):
    bench = Bench(faults=LinkFaults(drop=0.5), seed=seed, session={"number": seed})
    bench.open(chunks(TABLE), host_timeout_ms=5000)
    bench.until(RunStarted)
    bench.stop()
    assert bench.until(RunEnded).reason == Reason.STOP


def test_a_stop_that_is_lost_three_times_is_heard_the_fourth():
    bench = Bench()
    bench.open(chunks(TABLE), host_timeout_ms=5000)
    bench.until(RunStarted)
    lane, spy, lost = bench.loop._link.to_board, FrameDecoder(), []
    send = lane.send

    def deaf_to_stop(data, now_ns):
        if any(frame.type == Stop.TYPE for frame in spy.feed(data)) and len(lost) < 3:
            lost.append(now_ns)
            return
        send(data, now_ns)

    lane.send = deaf_to_stop
    bench.stop()
    assert bench.until(RunEnded).reason == Reason.STOP
    assert len(lost) == 3
    assert lost[2] - lost[0] == pytest.approx(100e6, rel=0.1)


@pytest.mark.parametrize("fault", ["duplicate", "reorder", "truncate", "corrupt", "drop"])
def test_each_fault_of_the_link_shows_in_its_quality(fault):
    bench = Bench(faults=LinkFaults(**{fault: 0.1}), latency_ns=1_000_000, seed=5)
    ended = bench.play(TABLE)
    assert ended.verified
    quality = ended.quality
    assert (quality.bad_from_board > 0) == (fault in ("truncate", "corrupt"))
    assert (quality.board_gaps > 0) == (fault != "duplicate")
    assert quality.board_gaps < len(bench.all(BoardStatus))


def test_stop_before_the_run_has_begun_lets_nothing_out():
    bench = Bench(latency_ns=5_000_000)
    bench.open(chunks(TABLE))
    bench.stop()
    ended = bench.until(RunEnded)
    assert (ended.reason, ended.played) == (Reason.STOP, 0)
    assert len(bench.pins.ticks) == 0
    bench.until(Parked)
    assert bench.play(TABLE).verified


# Flow


def watch(bench, monkeypatch):
    """The greatest number of bytes queued on the board, of transitions pulled ahead of the pins."""
    most = {"queued": 0}
    take = type(bench.session)._take_status

    def taken(self, status, now_ns, events):
        most["queued"] = max(most["queued"], status.queued)
        take(self, status, now_ns, events)

    monkeypatch.setattr(type(bench.session), "_take_status", taken)
    return most


def test_credit_is_used_but_never_overdrawn(monkeypatch):
    small = SETTINGS.__class__(tick_hz=HZ, history_depth=1024, buffer_bytes=3000)
    bench = Bench(small)
    most = watch(bench, monkeypatch)
    ended = bench.play(TABLE, prefill_ms=60_000)
    assert ended.verified
    assert 2500 < most["queued"] <= 3000


def test_the_source_is_pulled_only_as_the_board_has_room():
    bench = Bench(SETTINGS.__class__(tick_hz=HZ, history_depth=1024, buffer_bytes=3000))
    pulled, ahead = [0], []

    def source():
        for chunk in chunks(TABLE, 512):
            pulled[0] += len(chunk)
            yield chunk

    bench.open(source())
    while not bench.all(RunEnded):
        bench.events += bench.loop.step()
        played = [e.status.played for e in bench.events[-3:] if isinstance(e, BoardStatus)]
        ahead += [pulled[0] - count for count in played]
    assert max(ahead[5:-5]) < 14_000


def test_at_most_fifty_ms_are_sent_ahead_of_the_wire():
    rate = 11_520
    bench = Bench(bytes_per_s=rate, session={"bytes_per_s": rate})
    bench.open(chunks(TABLE), prefill_ms=5000)
    lane, worst = bench.loop._link.to_board, 0
    for _ in range(3000):
        bench.events += bench.loop.step()
        waiting = sum(len(data) for _, _, data in lane._under_way)
        worst = max(worst, waiting)
    partly_sent = 252
    assert 0.04 * rate < worst < 0.05 * rate + partly_sent


def test_a_live_run_is_half_a_second_ahead():
    bench = Bench()
    bench.open(chunks(TABLE), live=Live())
    bench.until(RunStarted)
    bench.wait(300)
    sent = bench.session.run._course.last_tick
    status = bench.session.status
    assert 490 * MS < sent - (status.tick - status.start_tick) < 530 * MS


# Splices


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


# Pulses


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


# Orders that cannot be


def test_a_table_for_another_clock_is_refused():
    bench = Bench()
    with pytest.raises(UsageError, match="compile for this board"):
        bench.session.open_run(RunOrder(PinHeader(125_000_000, 0, 0), iter([])))


def test_one_run_at_a_time():
    bench = Bench()
    bench.open(chunks(TABLE))
    with pytest.raises(UsageError, match="a run is open"):
        bench.open(chunks(TABLE))


def test_nothing_is_opened_before_a_board_is_there():
    bench = Bench(connect=False)
    with pytest.raises(UsageError, match="wait for Connected"):
        bench.open(chunks(TABLE))


def test_the_window_is_never_passed():
    """No more than 64 ordered frames are under way, whatever the board acknowledges."""
    bench = Bench(faults=LinkFaults(drop=0.2), latency_ns=40_000_000, seed=8)
    spy, sent = FrameDecoder(), []
    send = bench.loop._link.to_board.send

    def watched(data, now_ns):
        frames = [frame for frame in spy.feed(data) if frame.type == Edges.TYPE]
        oldest = bench.session._outbox.next_seq
        assert all((frame.seq - oldest) & 0xFF < 64 for frame in frames)
        sent.extend(frames)
        send(data, now_ns)

    bench.loop._link.to_board.send = watched
    assert bench.play(TABLE, prefill_ms=60_000).verified
    assert len(sent) > 30
