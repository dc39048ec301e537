"""How much faster than the engine the simulated bench is, on one core.

    python tests/benchmarks/bench_speed.py

60 minus 2 with half-moon cam at 6,000 rpm: compiler, encoder, frames, board, controller, pulses,
reports, judge and record included. Processor time, the best of some runs. The budget is 20.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

from edgewheel.bench.loader import load_plan
from edgewheel.bench.runner import Runner

SECONDS = 15
RUNS = 5
BENCH = f"""\
format: 1
name: Speed
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {{line: crank, blanking_percent: 20}}
    cam: {{line: cam}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: high}}
    engine: {{tdc_after_reference_deg: 84}}
motion: {{segments: [{{ramp: 6000, seconds: 0.5}}, {{hold: 6000, seconds: {SECONDS}}}]}}
"""


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.yaml"
        path.write_text(BENCH)
        plan = load_plan(path)
        ratios = []
        for _ in range(RUNS):
            runner = Runner(plan, Path(folder) / "runs")
            begin = time.process_time()
            for _ in runner.events():
                pass
            ratios.append(float(plan.signal.motion.end_s) / (time.process_time() - begin))
            assert runner.verdict.verified
    print(f"simulated bench: {max(ratios):.1f} times the engine's time")


if __name__ == "__main__":
    main()
