"""Records for tests of reports: made by the commands themselves, and one of a suite as data."""

import json
from pathlib import Path

from edgewheel.cli.main import main

CASE = """\
format: 1
name: {name}
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank:
      line: crank
      edge: rising
      filter_us: 6
      blanking_percent: 20
      rc: {{rise_time_constant_us: 9, fall_time_constant_us: 0.5}}
    cam: {{line: cam, edge: rising, filter_us: 6}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: high}}
    engine: {{firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}}
faults:
  sensor: {{kind: bounce, track: crank, after: rise, delay_us: 30, width_us: 4}}
limits: {{sync_within_s: 1}}
sweep: {{from: 5000, to: 6250, step: 250, rate: 8000, settle: 0.05, hold: 0.1}}
"""

HOSTILE = "</script><script>window.hostile = 1</script><img src=x onerror='window.hostile=1'>"
"""A name, or a word of a controller, that would run if a page did not escape it."""


def bench_file(folder: Path, name: str = "Fan 3", motion: str = "") -> Path:
    """The bench file of a controller that miscounts near 5,900 rpm, with a motion or without."""
    file = folder / "fan.yaml"
    file.write_text(CASE.format(name=json.dumps(name)) + motion, encoding="utf-8")
    return file


def made_by(folder: Path, *words: str) -> Path:
    """The record that a command has made in a folder, whatever it found."""
    main([*words, "--runs", str(folder / "runs")])
    (run,) = (folder / "runs").iterdir()
    return run


def suite_test(name: str, verdict: str, **more: object) -> dict[str, object]:
    """One test of a suite as `edgewheel qualify` writes it."""
    return {
        "name": name,
        "title": name.replace("_", " ").capitalize(),
        "verdict": verdict,
        "sentence": f"It {verdict}.",
        "measured": {"value": 7398.0, "low": 7359.0, "high": 7438.0, "unit": "rpm"},
        "limit": {"sense": "at_least", "value": 6000.0},
        "marginal": 300.0,
        "confidence": 0.95,
        "trials": 20,
        "repeat": f"edgewheel qualify plan.yaml --only {name}",
        "evidence": [],
        **more,
    }


THRESHOLD = {
    "kind": "threshold", "address": "rpm", "from": 4000.0, "to": 9000.0, "found": "bracket",
    "fails": "above", "threshold": 7398.0, "low": 7359.0, "high": 7438.0, "spread": 0.0,
    "passed_trials": 2, "failed_trials": 1, "unit": "rpm",
    "trials": [
        {"value": 4000.0, "passed": True, "detail": "sync after 0.2 s"},
        {"value": 7359.0, "passed": True, "detail": "sync after 0.2 s"},
        {"value": 9000.0, "passed": False, "detail": f"lost {HOSTILE}"},
    ],
}  # fmt: skip
POINTS = {
    "kind": "points",
    "x": {"name": f"stopped {HOSTILE}", "unit": "degrees"},
    "y": {"name": "ms", "unit": "ms"},
    "points": [{"x": 3, "y": 142.0, "passed": True}, {"x": 9, "y": 190.0, "passed": False}],
}
WORDS = {"kind": "words", "words": ["20 times: noticed"]}


def suite_record(folder: Path) -> Path:
    """The record of a suite with every verdict, in a folder of its own."""
    folder.mkdir()
    tests = [
        suite_test("highest_up", "passed", evidence=[THRESHOLD]),
        suite_test("cam_early", "failed", measured=None),
        suite_test("recovery", "marginal", evidence=[POINTS],
                   measured={"value": 142.0, "low": 140.0, "high": None, "unit": "ms"},
                   limit={"sense": "at_most", "value": 150.0}),
        suite_test("dwell", "error", measured=None, limit=None, evidence=[WORDS]),
    ]  # fmt: skip
    summary = {
        "kind": "qualify", "name": f"Frost fan {HOSTILE}", "verdict": "error",
        "edgewheel": "0.1.0", "python": "3.11", "seed": 11, "board": "a simulated board",
        "controller": "simulated", "began": "20261125T143022Z", "engine_seconds": 1148.5,
        "repeat": "edgewheel qualify plan.yaml", "tests": tests,
        "against": {"folder": "before", "better": [], "compared": 3, "not_compared": ["stall"],
                    "worse": [{"test": "recovery", "sentence": "Recovery takes 9 ms longer."}]},
    }  # fmt: skip
    (folder / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    (folder / "plan.yaml").write_text("format: 1\n# <b>an input</b>\n", encoding="utf-8")
    return folder
