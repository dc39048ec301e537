"""The console under 5,000 events a second: processor time, how late its event loop is, the record.

    python tests/benchmarks/console_load.py [SECONDS]

Budgets: 15 % of a core for the console, its event loop never late by more than 50 ms, nothing lost
in the record. A thread makes the events and records them, as a live bench's does; its own time is
not the console's. Beside it an event loop with nothing to do runs in a process of its own: what
that one is late, the machine is, not the console.
"""

from __future__ import annotations

import asyncio
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections import deque
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from edgewheel.bench.events import Began, Pulsed, RawBytes, Reported
from edgewheel.bench.record import Record
from edgewheel.console.app import ConsoleApp
from edgewheel.console.desk import FIRST, Desk
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold
from mock_bench import MockBench

EVENTS_PER_S = 5000
BATCH_S = 0.01
TICK_HZ = 125_000_000
LATE_S = 0.05
LOOK_S = 0.005
"""The event loop is asked so often whether it is late."""


class BusyBench(MockBench):
    """A thread makes events, records them, and lays them ready."""

    def __init__(self, plan, runs):
        super().__init__(plan, runs)
        self.motion = Motion([hold(Fraction(3000), seconds=Fraction(100_000))])
        self.ready = deque(maxlen=100_000)
        self.made = self.pulses = 0
        self.own_s = 0.0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._make)
        self.folder = runs / "busy"

    def begin(self):
        self.start(Fraction(3000))
        self.be(reported_rpm=3000.0, synced=True)
        self._thread.start()

    def end(self):
        self._over.set()
        self._thread.join()

    def drain(self):
        events = []
        while self.ready:
            events.append(self.ready.popleft())
        return events

    def _make(self):
        begun = time.monotonic()
        with Record(self.folder) as record:
            record.event(Began(0, 0.0, TICK_HZ))
            while not self._over.wait(BATCH_S):
                due = int((time.monotonic() - begun) * EVENTS_PER_S)
                for number in range(self.made, due):
                    event = self._event(number)
                    record.event(event)
                    self.ready.append(event)
                self.made = due
            record.finish({})
        self.own_s = time.thread_time()

    def _event(self, number):
        seconds = number / EVENTS_PER_S
        tick = round(seconds * TICK_HZ)
        if number % 50 == 0:
            return RawBytes(tick, seconds, f"t={seconds:.3f} rpm=3000.0 sync=full\r\n".encode())
        if number % 50 == 1:
            return Reported(tick, seconds, "", {"rpm": 3000.0, "advance": 10.0})
        self.pulses += 1
        return Pulsed(tick, seconds, f"coil_{1 + number % 4}", number // 4 % 2)


@dataclass(frozen=True)
class Load:
    """What was measured. `cores` is the console's share of a core, `late_ms` the worst lateness."""

    cores: float
    late_ms: float
    late_p99_ms: float
    late_count: int
    made: int
    heard: int
    pulses: int
    recorded: int


def measure(seconds: float, runs: Path) -> Load:
    """Let the console listen for so long."""
    return asyncio.run(_measure(seconds, runs))


async def _measure(seconds: float, runs: Path) -> Load:
    desk = Desk(FIRST, runs, BusyBench)
    bench = desk.player
    app = ConsoleApp(lambda: desk)
    async with app.run_test(size=(120, 40)) as pilot:
        await app.workers.wait_for_complete()
        await pilot.pause()
        cpu_s, wall_s = time.process_time(), time.monotonic()
        bench.begin()
        late = await lateness(seconds)
        bench.end()
        app.look()
        cpu_s = time.process_time() - cpu_s - bench.own_s
        wall_s = time.monotonic() - wall_s
        heard = desk.watch.heard
        app.leave(0)
    with sqlite3.connect(bench.folder / "run.sqlite") as database:
        ((recorded,),) = database.execute("SELECT count(*) FROM pulse")
    late.sort()
    return Load(
        cpu_s / wall_s,
        late[-1] * 1e3,
        late[int(len(late) * 0.99)] * 1e3,
        sum(one > LATE_S for one in late),
        bench.made,
        heard,
        bench.pulses,
        recorded,
    )


async def lateness(seconds: float) -> list[float]:
    """How late the running loop wakes, again and again."""
    late, end = [], time.monotonic() + seconds
    while (asked := time.monotonic()) < end:
        await asyncio.sleep(LOOK_S)
        late.append(time.monotonic() - asked - LOOK_S)
    return late


IDLE = """
import asyncio, sys
sys.path.insert(0, sys.argv[2])
from console_load import LATE_S, lateness
late = sorted(asyncio.run(lateness(float(sys.argv[1]))))
print(f"an idle loop    {late[-1] * 1e3:5.1f} ms at worst")
"""


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    here = str(Path(__file__).parent)
    idle = subprocess.Popen([sys.executable, "-c", IDLE, str(seconds), here])
    with tempfile.TemporaryDirectory() as folder:
        load = measure(seconds, Path(folder))
    print(f"console         {load.cores:6.1%} of a core (budget 15 %)")
    times = f"{load.late_count} times by more than 50 ms"
    print(
        f"event loop late {load.late_ms:5.1f} ms at worst, p99 {load.late_p99_ms:.1f} ms, {times}"
    )
    print(f"events          {load.made} made, {load.heard} heard")
    print(f"record          {load.recorded} of {load.pulses} pulses", flush=True)
    idle.wait()


if __name__ == "__main__":
    main()
