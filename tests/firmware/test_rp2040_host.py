"""The unchanged host over pyserial: its session thread on a socket:// port, the real image at
the other end."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from edgewheel.edges.table import PinChunk, PinHeader
from edgewheel.link.events import Connected, PulsesCaptured, RunEnded, SpliceTaken
from edgewheel.link.hostrun import Live, RunOrder
from edgewheel.link.messages import Reason
from edgewheel.link.serial_port import SerialPort
from edgewheel.link.session import SessionSettings
from edgewheel.link.session_thread import ChangeCourse, OpenRun, SessionThread
from firmware.kit.emulator import HZ, MS
from firmware.kit.served import Pulse, Served

pytestmark = pytest.mark.realtime

HALF_A_MICROSECOND = HZ // 2_000_000
UNDER_WAY = 100
"""Transitions after which a run is well under way."""
HEADER = PinHeader(tick_hz=HZ, initial_mask=0, idle_mask=0)


@pytest.fixture
def served(image: Path) -> Iterator[Callable[..., Served]]:
    boards: list[Served] = []

    def make(*options: Any) -> Served:
        boards.append(Served(image, *options))
        return boards[-1]

    yield make
    for board in boards:
        board.close()


def steady(count: int, period_ticks: int) -> PinChunk:
    ticks = np.arange(1, count + 1, dtype=np.int64) * period_ticks
    return PinChunk(ticks, (np.arange(1, count + 1) & 0xFF).astype(np.uint8))


def wait_for(thread: SessionThread, kind: type, seconds: float = 20.0) -> tuple[Any, list[Any]]:
    """The next event of a kind, and all up to it."""
    seen = []
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        event = thread.events.get(timeout=seconds)
        seen.append(event)
        if isinstance(event, kind):
            return event, seen
    raise AssertionError(f"no {kind.__name__} among {seen}")


def until(true: Callable[[], bool], seconds: float = 20.0) -> None:
    """Until something holds, or it never will."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.01)


def shown(board: Served, start: int) -> tuple[Any, Any]:
    """What the pins did in a run, its first edge at run tick `start`."""
    ticks = np.array([tick for tick, _ in board.transitions])
    masks = np.array([mask for _, mask in board.transitions], np.uint8)
    run = np.flatnonzero(masks)[0]
    return ticks[run:] - ticks[run] + start, masks[run:]


def test_a_run_is_verified_and_its_pulses_are_timed(served: Callable[..., Served]) -> None:
    """A peer on the pins answers every edge of output 0 on input 0, 2 ms later."""
    pulses: list[Pulse] = []

    def answer(transitions: list[tuple[int, int]], tick: int) -> list[Pulse]:
        new = [(moved + 2 * MS, 0, mask & 1) for moved, mask in transitions]
        pulses.extend(new)
        return new

    board = served(answer)
    thread = SessionThread(SerialPort(board.url), SessionSettings(port=board.url))
    try:
        connected, _ = wait_for(thread, Connected)
        assert connected.welcome.board == 2
        chunk = steady(600, MS)
        thread.submit(OpenRun(RunOrder(HEADER, iter([chunk]), inputs=1)))
        ended, seen = wait_for(thread, RunEnded)
    finally:
        thread.close()
    assert (ended.reason, ended.verified, ended.played) == (Reason.END, True, 600)
    ticks, masks = shown(board, MS)
    assert (ticks[:600] == chunk.ticks).all()
    assert (masks[:600] == chunk.masks).all()
    captured = [tick for event in seen if isinstance(event, PulsesCaptured) for tick in event.ticks]
    assert len(captured) > 550
    late = np.array(captured) - ended.start_tick - chunk.ticks[: len(captured)] - 2 * MS
    assert np.abs(late).max() <= HALF_A_MICROSECOND, np.flatnonzero(np.abs(late) > 62)


def test_a_live_run_changes_course_within_100_ms(served: Callable[..., Served]) -> None:
    board = served()
    thread = SessionThread(SerialPort(board.url), SessionSettings(port=board.url))

    def slow() -> Iterator[PinChunk]:
        for n in range(10_000):
            whole = steady(20, MS)
            yield PinChunk(whole.ticks + n * 20 * MS, whole.masks)

    def fast(point: Any) -> Iterator[PinChunk]:
        ticks = point.from_tick + np.arange(1, 1001, dtype=np.int64) * (MS // 4)
        yield PinChunk(ticks, (np.arange(1, 1001) & 0xFF).astype(np.uint8))

    try:
        wait_for(thread, Connected)
        thread.submit(OpenRun(RunOrder(HEADER, slow(), live=Live())))
        until(lambda: len(board.transitions) > UNDER_WAY)
        asked = board.tick
        thread.submit(ChangeCourse(fast))
        taken, _ = wait_for(thread, SpliceTaken)
        ended, _ = wait_for(thread, RunEnded)
    finally:
        thread.close()
    assert ended.verified
    ticks = np.array([tick for tick, _ in board.transitions])
    quick = np.flatnonzero(np.diff(ticks) == MS // 4)[0]
    print(f"new speed at the pins {(ticks[quick] - asked) / MS:.0f} ms after the order")
    assert ticks[quick] - asked < 100 * MS
    assert taken.first > 0


KILLED = """
import sys, time, numpy as np
from edgewheel.edges.table import PinChunk, PinHeader
from edgewheel.link.hostrun import RunOrder
from edgewheel.link.serial_port import SerialPort
from edgewheel.link.session import SessionSettings
from edgewheel.link.session_thread import OpenRun, SessionThread
thread = SessionThread(SerialPort(sys.argv[1]), SessionSettings())
thread.events.get(timeout=10)
ticks = np.arange(1, 60_000, dtype=np.int64) * 125_000
chunk = PinChunk(ticks, (np.arange(1, 60_000) & 0xFF).astype(np.uint8))
order = RunOrder(PinHeader(125_000_000, 0, 0x42), iter([chunk]), park_after_ms=100)
thread.submit(OpenRun(order))
print("going", flush=True)
time.sleep(60)
"""


def test_a_killed_host_leaves_held_then_idle_pins(served: Callable[..., Served]) -> None:
    board = served()
    host = subprocess.Popen(
        [sys.executable, "-c", KILLED, board.url], stdout=subprocess.PIPE, text=True
    )
    assert host.stdout and host.stdout.readline() == "going\n"
    until(lambda: len(board.transitions) > UNDER_WAY)
    host.send_signal(signal.SIGKILL)
    killed = board.tick
    host.wait()
    until(lambda: board.transitions[-1][1] == 0x42 and board.tick > killed + 1_000 * MS)
    held, parked = board.transitions[-2], board.transitions[-1]
    assert parked[1] == 0x42
    assert held[0] - killed < 1_100 * MS
    assert 100 * MS <= parked[0] - held[0] <= 103 * MS
    print(
        f"held {(held[0] - killed) / MS:.0f} ms after SIGKILL,"
        f" idle {(parked[0] - held[0]) / MS:.0f} ms later"
    )
