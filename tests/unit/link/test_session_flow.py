"""The session sends what the board has room for, and never far ahead of the wire."""

import wire_vectors
from edgewheel.link.events import (
    BoardStatus,
    RunEnded,
    RunStarted,
)
from edgewheel.link.frames import FrameDecoder
from edgewheel.link.hostrun import Live
from edgewheel.link.messages import Edges
from edgewheel.link.sim_link import LinkFaults
from sim_bench import HZ, MS, SETTINGS, Bench, chunks

TABLE = wire_vectors.wheel_table(60, HZ, wire_vectors.steady(3000.7), first_tick=2000)


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
