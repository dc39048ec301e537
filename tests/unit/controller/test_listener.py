"""The thread that listens to a port: stamps, order, requests, and a port that goes away."""

import time

import pytest

from edgewheel.clock import WallClock
from edgewheel.controller.asking import Request
from edgewheel.controller.lines import LineReader, pairs
from edgewheel.controller.listener import Listener
from edgewheel.errors import BenchError


class FakeWire:
    """Plays what it is given, piece after piece, then fails or stays silent."""

    name = "fake"

    def __init__(self, *script):
        self.script = list(script)
        self.written = []
        self.closed = False

    def read(self):
        time.sleep(0.001)
        if not self.script:
            return []
        piece = self.script.pop(0)
        if isinstance(piece, Exception):
            raise piece
        return [piece]

    def write(self, piece):
        self.written.append(piece)

    def close(self):
        self.closed = True


def listen(*wires, reader=None, reopen_s=0.2):
    """A port that is each of the wires in turn; an error is one that cannot be opened."""
    ports = iter(wires)

    def open_port():
        wire = next(ports, BenchError("there is no such port"))
        if isinstance(wire, Exception):
            raise wire
        return wire

    listener = Listener(open_port, reader or LineReader(), WallClock(), reopen_s)
    listener.open()
    return listener


def wait_for(listener, count):
    heard, deadline = [], time.monotonic() + 5
    while len(heard) < count:
        assert time.monotonic() < deadline
        heard += listener.events()
    return heard


def test_pieces_come_in_order_with_stamps_and_reports():
    wire = FakeWire(b"rpm=1\nrp", b"m=2\n")
    listener = listen(wire)
    first, second = wait_for(listener, 2)
    listener.close()
    assert (first.piece, [r.fields for r in first.reports]) == (b"rpm=1\nrp", [{"rpm": 1.0}])
    assert [r.fields for r in second.reports] == [{"rpm": 2.0}]
    assert first.ns < second.ns
    assert wire.closed


def test_requests_are_sent_from_the_same_thread():
    wire = FakeWire()
    listener = listen(wire, reader=LineReader(pairs, Request(b"?", every_ms=2)))
    deadline = time.monotonic() + 5
    while len(wire.written) < 3 and time.monotonic() < deadline:
        time.sleep(0.001)
    listener.close()
    assert set(wire.written) == {b"?"}
    assert listener.tally()["unanswered"] >= 2


def test_a_port_that_goes_away_is_the_benchs_trouble_told_after_what_came_before():
    listener = listen(FakeWire(b"rpm=1\n", OSError("unplugged")))
    (heard,) = wait_for(listener, 1)
    assert heard.reports[0].fields == {"rpm": 1.0}
    with pytest.raises(BenchError, match=r"fake is gone \(unplugged\)"):
        wait_for(listener, 1)
    listener.close()


def test_a_port_that_comes_back_is_heard_again_and_counted():
    gone, busy = OSError("unplugged"), BenchError("no rights yet")
    first, second = FakeWire(b"rpm=1\nrpm=2", gone), FakeWire(b"00\nrpm=3\n")
    listener = listen(first, busy, busy, second, reopen_s=5)
    heard = wait_for(listener, 2)
    assert [one.piece for one in heard] == [b"rpm=1\nrpm=2", b"00\nrpm=3\n"]
    assert [r.fields["rpm"] for one in heard for r in one.reports] == [1, 3]
    assert not listener.away
    assert listener.tally()["port_came_back"] == 1
    assert first.closed
    listener.close()
    assert second.closed


def test_a_reader_that_crashes_is_no_silence():
    class Broken(LineReader):
        def feed(self, data, arrived):
            raise ZeroDivisionError

    listener = listen(FakeWire(b"x"), reader=Broken())
    with pytest.raises(RuntimeError, match="the reader has crashed"):
        wait_for(listener, 1)
    listener.close()
