"""The simulated board on a pty, opened by pyserial as any port is; short, and in real time."""

import socket
import threading

import numpy as np
import pytest
import serial

import wire_vectors
from edgewheel.board.pty import PtyBoard
from edgewheel.board.sim import SimBoard
from edgewheel.edges.table import PinHeader
from edgewheel.errors import BenchError
from edgewheel.link.events import Connected, LinkFailed, Parked, RunEnded, RunStarted
from edgewheel.link.hostrun import Live, RunOrder
from edgewheel.link.messages import Reason, State
from edgewheel.link.serial_port import SerialPort
from edgewheel.link.session import SessionSettings
from edgewheel.link.session_thread import (
    ChangeCourse,
    Crashed,
    OpenRun,
    OrderRefused,
    SessionThread,
    StopRun,
)
from sim_bench import HZ, SETTINGS, Pins, assert_is_prefix, chunks

pytestmark = pytest.mark.realtime

TABLE = wire_vectors.wheel_table(10, HZ, wire_vectors.steady(3000.7), first_tick=2000)


class Port:
    """A board playing on a pty in a thread of its own."""

    def __init__(self, line=None):
        self.board, self.pins = SimBoard(SETTINGS), Pins()
        self.pty = PtyBoard(self.board, self.pins, line)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self.pty.run, args=(self._over.is_set,))
        self._thread.start()

    def close(self):
        self._over.set()
        self._thread.join()


@pytest.fixture
def port():
    port = Port()
    yield port
    port.close()


def connect(port):
    thread = SessionThread(SerialPort(port.pty.port.path), SessionSettings(port=port.pty.port.path))
    until(thread, Connected)
    return thread


def until(thread, *kinds):
    """The next event of one of these kinds."""
    while True:
        event = thread.events.get(timeout=10)
        if isinstance(event, (*kinds, LinkFailed, Crashed)):
            return event


def order(table, **options):
    return OpenRun(RunOrder(PinHeader(HZ, 0, 0), chunks(table), **options))


def test_a_run_over_pyserial(port):
    thread = connect(port)
    thread.submit(order(TABLE, lag_hint=234, park_after_ms=20))
    ended = until(thread, RunEnded)
    assert ended.verified, ended
    until(thread, Parked)
    thread.close()
    ticks = port.pins.ticks - ended.start_tick
    assert_is_prefix((ticks[: ended.played], port.pins.masks[: ended.played]), TABLE)
    assert ended.played == len(TABLE[0])


def test_a_live_run_changes_course(port):
    thread = connect(port)
    thread.submit(
        order(wire_vectors.wheel_table(100, HZ, wire_vectors.steady(3000.7), 2000), live=Live())
    )
    until(thread, RunStarted)
    points = []

    def make(point):
        points.append(point)
        ticks = point.from_tick + np.arange(200) * 16_000
        return chunks((ticks, (np.arange(200) % 2).astype(np.uint8)))

    thread.submit(ChangeCourse(make))
    ended = until(thread, RunEnded)
    thread.close()
    assert ended.verified, ended.explain()
    assert ended.played == points[-1].first + 200


def test_closing_parks_the_pins(port):
    thread = connect(port)
    thread.submit(order(wire_vectors.wheel_table(200, HZ, wire_vectors.steady(3000.7), 2000)))
    until(thread, RunStarted)
    thread.close()
    assert port.board._run.state == State.IDLE
    assert port.board._run.reason == Reason.STOP


def test_a_port_that_is_closed_stops_the_board(port):
    thread = connect(port)
    thread.submit(order(wire_vectors.wheel_table(200, HZ, wire_vectors.steady(3000.7), 2000)))
    until(thread, RunStarted)
    thread._transport.close()
    assert isinstance(until(thread, LinkFailed, Crashed), LinkFailed | Crashed)
    for _ in range(100):
        if port.board._run.reason == Reason.LINK_DROPPED:
            break
        threading.Event().wait(0.01)
    assert port.board._run.reason == Reason.LINK_DROPPED


def test_a_source_that_fails_is_told_and_the_pins_are_parked(port):
    def broken():
        yield from chunks(TABLE)
        raise RuntimeError("the wheel came off")

    thread = connect(port)
    thread.submit(OpenRun(RunOrder(PinHeader(HZ, 0, 0), broken())))
    crashed = until(thread, Crashed)
    assert "the wheel came off" in str(crashed.error)
    thread.close()
    assert port.board._run.state == State.IDLE
    assert port.board._run.reason == Reason.STOP


def test_an_order_that_cannot_be_leaves_the_session_alone(port):
    thread = connect(port)
    thread.submit(ChangeCourse(lambda point: iter([])))
    assert "no run is open" in str(until(thread, OrderRefused).error)
    thread.submit(StopRun())
    thread.submit(order(TABLE))
    assert until(thread, RunEnded).verified
    thread.close()


def test_the_controllers_line_is_a_port_too():
    port = Port(line=lambda: b"sync=1 rpm=850\n")
    with serial.Serial(port.pty.controller_port.path, timeout=2) as line:
        assert b"sync=1 rpm=850\n" in line.read(200)
    port.close()


def test_a_board_behind_a_network_socket(port):
    """A socket that is bridged to the pty, as a serial server on the network would."""
    server = socket.create_server(("127.0.0.1", 0))
    bridge = threading.Thread(target=carry, args=(server, port.pty.port.path))
    bridge.start()
    url = f"socket://127.0.0.1:{server.getsockname()[1]}"
    thread = SessionThread(SerialPort(url), SessionSettings(port=url))
    until(thread, Connected)
    thread.submit(order(TABLE))
    assert until(thread, RunEnded).verified
    thread.close()
    bridge.join()


def carry(server, path):
    """Carry bytes both ways until the socket is closed."""
    with server, server.accept()[0] as far, serial.Serial(path, timeout=0.002) as near:
        far.settimeout(0.002)
        while True:
            try:
                data = far.recv(4096)
                if not data:
                    return
                near.write(data)
            except TimeoutError:
                pass
            far.sendall(near.read(4096))


def test_a_port_is_for_one_program_at_a_time(port):
    first = SerialPort(port.pty.port.path)
    with pytest.raises(BenchError, match="in use by another program"):
        SerialPort(port.pty.port.path)
    first.close()


def test_a_port_that_is_not_there():
    with pytest.raises(BenchError, match="There is no port"):
        SerialPort("/dev/frostfan-nowhere")
