"""From a bench file to the controller's connector: the codes that the firmware makes of what the
host says, through the circuit of the VR output, cross zero on the teeth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from edgewheel.bench.loader import load_plan
from edgewheel.fault.pipeline import Pipeline
from firmware.kit.native import MS, TICK_HZ, Native, build
from firmware.kit.stream import RandomEncoder
from firmware.kit.wire import arm, end
from simulate.bench import crossings
from simulate.reluctor_waves import play_codes
from stages.reluctor import reluctor

BENCH = """\
format: 1
name: A reluctor through the circuit
wheel: 60-minus-2
sensors:
  crank: {kind: vr, amplitude: {mv_per_rpm: 2}}
stage:
  crank: {output: vr, LEADS}
controller:
  kind: sim
  settings:
    crank: {line: crank, vr: {arming_mv: [[0, 100]], teeth_a_turn: 60}}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}
motion: {segments: [{hold: RPM, seconds: SECONDS}]}
"""
TURNS = 1.5
LEAD_TICKS = 2 * MS


@pytest.fixture(scope="module")
def core(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("core"))


def codes_of(core: Path, config: bytes, items: list[tuple[int, int]]) -> tuple[np.ndarray, ...]:
    """Run ticks (n,) in the middle of the codes of wave 0, and the codes (n,)."""
    board = Native(core)
    board.host.hello()
    board.host.send("CONFIG", config)
    board.host.send("ARM", arm(host_timeout_ms=10_000))
    encoder = RandomEncoder(1, 100)
    for payload in encoder.payloads(items):
        board.host.send("EDGES", payload)
    board.host.send("END", end(0, len(items), encoder.tick))
    board.host.start()
    found = []
    for _ in range(encoder.tick // MS + 5):
        board.run(MS)
        found += board.codes()
    assert (board.host.state, board.host.reason) == ("holding", "end")
    ticks, codes, _ = np.array(found).T
    return ticks - board.host.status.start_tick, codes


@pytest.mark.parametrize(
    ("leads", "output", "rpm", "least_deg", "most_deg"),
    [
        ("leads: grounded", "VR", 50, 0, 0.02),
        ("leads: floating", "VR+", 50, 0, 0.02),
        ("leads: floating, corner_hz: 0", "VR+", 50, 0.25, 0.35),
        ("leads: grounded", "VR", 200, 0, 0.02),
        ("leads: floating", "VR+", 200, 0, 0.02),
    ],
)
def test_crossings_stand_on_the_teeth(
    tmp_path: Path, core: Path, leads: str, output: str, rpm: int, least_deg: float,
    most_deg: float,
) -> None:  # fmt: skip
    """The third is what the circuit's high-pass does to them if nothing makes up for it."""
    text = BENCH.replace("LEADS", leads).replace("RPM", str(rpm))
    path = tmp_path / "bench.yaml"
    path.write_text(text.replace("SECONDS", str(TURNS * 60 / rpm)))
    plan = load_plan(path)
    stage = plan.output_stage(TICK_HZ)
    _, chunks = Pipeline(plan.signal, TICK_HZ).pins(stage, LEAD_TICKS, 5)
    ticks, masks = (
        np.concatenate(part)
        for part in zip(*((chunk.ticks, chunk.masks) for chunk in chunks), strict=True)
    )
    items = list(zip(np.diff(ticks, prepend=0).tolist(), masks.tolist(), strict=True))
    (config,) = plan.waves(TICK_HZ)
    at, codes = codes_of(core, config.pack(), items)
    stride = max(1, round(TICK_HZ / rpm / 64 / np.diff(at)[0]))
    times = (at[::stride] - at[0]) / TICK_HZ
    waves = play_codes(reluctor(), times, codes[::stride])
    signal = waves["v(vr)"] if output == "VR" else waves["v(vrp)"] - waves["v(vrm)"]
    falls = crossings(waves.time, signal, 0.0, rising=False)
    degrees = (falls + (at[0] - LEAD_TICKS) / TICK_HZ) * 6 * rpm
    levels = plan.signal.levels
    teeth = [
        float(angle) + 360 * turn
        for turn in (0, 1)
        for angle, level in zip(levels.angles, levels.level, strict=True)
        if level == 0 and angle < 360
    ]
    measured = [tooth for tooth in teeth if 0.5 * 360 < tooth < (TURNS - 0.02) * 360]
    off = [np.abs(degrees - tooth).min() for tooth in measured]
    volts = np.abs(signal[waves.time > 0.5 * 60 / rpm]).max()
    print(f"{leads}, {rpm} rpm: {volts / rpm * 1000:.3f} mV per rpm, {max(off):.4f} degrees off")
    assert least_deg <= max(off) < most_deg
    assert volts == pytest.approx(0.002 * rpm, rel=0.1 if least_deg else 0.05)
