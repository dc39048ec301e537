"""The session finds its board, or says why not; orders that cannot be are refused."""

import pytest

import wire_vectors
from edgewheel.edges.table import PinHeader
from edgewheel.errors import BenchTimeoutError, UsageError
from edgewheel.link.events import (
    Connected,
    RunStarted,
    StateChanged,
)
from edgewheel.link.greeting import (
    BoardWish,
    NoAnswerError,
    WrongBoardError,
    WrongVersionError,
)
from edgewheel.link.hostrun import RunOrder
from edgewheel.link.messages import State
from edgewheel.link.sim_link import LinkFaults
from sim_bench import HZ, Bench, chunks

TABLE = wire_vectors.wheel_table(60, HZ, wire_vectors.steady(3000.7), first_tick=2000)


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
    assert "speaks protocol 2.2, this program 1.2" in str(failed.error)
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
