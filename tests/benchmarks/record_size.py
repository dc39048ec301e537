"""Eight hours at 2,000 events a second: size, opening and query times of the record, CPU to write.

    python tests/benchmarks/record_size.py [--hours 8] [--rate 2000]

Writes 57.6 million captured edges to a folder that is removed afterwards; needs some 1.5 GB and a
few minutes. Then the share of a core that following, judging and recording 5,000 events a second
take.
"""

import argparse
import tempfile
import time
from pathlib import Path

from edgewheel.bench.events import Began, Finished, Pulsed
from edgewheel.bench.loader import load_plan
from edgewheel.bench.record import Record
from edgewheel.bench.rig import Rig
from edgewheel.search.recorded import RecordedRun

TICK_HZ = 125_000_000
LINES = ("coil_1", "coil_3", "coil_4", "coil_2")

BUSY = """\
format: 1
name: Busy
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {line: crank}
    cam: {line: cam}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    phase: {by: level, level: high}
    engine: {tdc_after_reference_deg: 84}
motion: {segments: [{hold: 6000, seconds: 20}]}
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=8)
    parser.add_argument("--rate", type=int, default=2000)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        long_record(Path(folder), args.hours, args.rate)
    with tempfile.TemporaryDirectory() as folder:
        follow(Path(folder))


def long_record(folder: Path, hours: float, rate: int) -> None:
    count = round(hours * 3600 * rate)
    begun, cpu = time.perf_counter(), time.process_time()
    with Record(folder / "run") as record:
        record.inputs([], {"bench": "none.yaml"})
        record.event(Began(0, 0.0, TICK_HZ))
        step = TICK_HZ // rate
        for k in range(count):
            record.event(Pulsed(k * step, k / rate, LINES[k % 4], k // 4 % 2))
    seconds, cpu = time.perf_counter() - begun, time.process_time() - cpu
    size = (folder / "run" / "run.sqlite").stat().st_size
    print(f"{count:,} events: {size / 1e6:,.0f} MB, {size / count:.1f} bytes each")
    print(f"written in {seconds:.0f} s, {cpu / count * 1e6:.2f} us of CPU each: ", end="")
    print(f"{cpu / count * rate:.1%} of a core at {rate:,} a second")
    begun = time.perf_counter()
    run = RecordedRun(folder / "run")
    print(f"opened in {1000 * (time.perf_counter() - begun):.1f} ms")
    begun = time.perf_counter()
    middle = hours * 1800
    found = run.pulses_between(middle, middle + 1)
    print(f"one second in the middle: {len(found)} events in ", end="")
    print(f"{1000 * (time.perf_counter() - begun):.1f} ms")
    begun = time.perf_counter()
    run.pulses_between(middle, middle + 60)
    print(f"one minute in the middle: {1000 * (time.perf_counter() - begun):.0f} ms")


def follow(folder: Path) -> None:
    """What the events of a run cost beside the simulation that makes them."""
    bench = folder / "bench.yaml"
    bench.write_text(BUSY)
    plan = load_plan(bench)
    heard = []
    from edgewheel.bench import rig as rig_module

    class Keeping(rig_module.Follower):
        def take(self, step):
            heard.append(step)
            return super().take(step)

    original, rig_module.Follower = rig_module.Follower, Keeping
    try:
        events = list(Rig().run(plan))
    finally:
        rig_module.Follower = original
    began = next(event for event in events if isinstance(event, Began))
    follower = original(plan, TICK_HZ, 0, LINES, 0)
    pulses = 0
    with Record(folder / "run") as record:
        cpu = time.process_time()
        for step in heard:
            for event in follower.take(step):
                record.event(event)
                pulses += isinstance(event, Pulsed)
                if isinstance(event, Finished):
                    break
        cpu = time.process_time() - cpu
    assert began.tick_hz == TICK_HZ
    print(
        f"follow, judge, record: {pulses:,} pulses, {cpu / pulses * 1e6:.1f} us of CPU each: ",
        end="",
    )
    print(f"{cpu / pulses * 5000:.1%} of a core at 5,000 a second")


if __name__ == "__main__":
    main()
