"""A cable cut, a board restarted, a stop unheard: the run ends and says why."""

import pytest

import wire_vectors
from edgewheel.board.sim import SimBoard
from edgewheel.errors import BenchError
from edgewheel.link.events import (
    BoardStatus,
    LinkFailed,
    Parked,
    RunEnded,
    RunStarted,
)
from edgewheel.link.frames import FrameDecoder
from edgewheel.link.messages import Reason, Stop
from edgewheel.link.sim_link import LinkFaults
from edgewheel.link.waves import HalfWave, WaveForm
from sim_bench import HZ, SETTINGS, Bench, assert_is_prefix, chunks

TABLE = wire_vectors.wheel_table(60, HZ, wire_vectors.steady(3000.7), first_tick=2000)


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
        return status._replace(played=status.played - (status.played > 0))

    monkeypatch.setattr(SimBoard, "_status", lie)
    ended = Bench().play(TABLE)
    assert not ended.verified
    assert ended.faulted


def test_the_next_run_does_not_mind_what_is_repeated_of_one_that_was_stopped():
    bench = Bench(faults=LinkFaults(drop=0.1))
    for _ in range(4):
        bench.open(chunks(TABLE), prefill_ms=0)
        bench.wait(2)
        bench.stop(park=True)
        assert isinstance(bench.until(Parked), Parked)


def test_a_run_that_was_stopped_at_once_leaves_no_wave_of_the_one_before():
    form = WaveForm(30_000, 1, (HalfWave(1000, bytes(17)),))
    bench = Bench()
    bench.open(chunks(TABLE), waves=(form.config(0, 0),))
    bench.until(RunStarted)
    for _ in range(2):
        bench.stop(park=True)
        bench.until(Parked)
        bench.open(chunks(TABLE))
    bench.until(RunStarted)
    assert bench.board._run.waves.configured == 0


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
