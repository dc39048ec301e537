"""Weak teeth and run-out of a VR sensor that is played as a voltage: every crossing comes, and the
half-waves to both sides of a tooth's centre are as strong as that tooth."""

import math

import numpy as np
import pytest

from edgewheel.bench.events import Began
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.edges.table import join
from edgewheel.errors import FileError, UsageError
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.strength import nearest_shares
from edgewheel.fault.writing import written

HZ = 16_000_000
RPM, MV_PER_RPM = 1000, 2
BENCH = """\
format: 1
name: Weak teeth
wheel: 60-minus-2-half-moon-cam
board: {kind: sim, tick_hz: 16000000}
sensors:
  crank: {kind: vr, amplitude: {mv_per_rpm: 2RUNOUT}}
stage:
  crank: {output: vr, leads: floating, full_scale_mv: 12000}
faults: {FAULTS}
controller:
  kind: sim
  settings:
    crank: {line: crank, vr: {arming_mv: [[0, 100]], teeth_a_turn: 60}}
    cam: {line: cam}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    phase: {by: level, level: high}
    engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}
motion:
  segments:
    - {hold: 1000, seconds: 0.18}
    - {ramp: 0, seconds: 0.05}
    - {ramp: 1000, seconds: 0.05, reverse: true}
    - {hold: 1000, seconds: 0.12, reverse: true}
"""
TURN_BACK_DEG, TURN_BACK_S, END_S = 1080 + 150 - 150, 0.28, 0.4
"""Where the wheel is once it turns back at the full speed, when, and when the motion ends."""

PLAIN = "weak_signal, track: crank, threshold_mv: 1"


def plan_of(folder, faults="", run_out=""):
    path = folder / "bench.yaml"
    path.write_text(BENCH.replace("FAULTS", faults).replace("RUNOUT", run_out), encoding="utf-8")
    return load_plan(path)


@pytest.fixture
def heights(monkeypatch):
    """Plays a plan; of every half-wave at the full speed forward and back, the crank angle of its
    tooth's centre and its height in millivolts."""
    peaks, exchange = [], ControllerOnPins.exchange

    def listen(wired, transitions, until_tick):
        peaks.extend(transitions.peaks)
        return exchange(wired, transitions, until_tick)

    monkeypatch.setattr(ControllerOnPins, "exchange", listen)

    def play(plan):
        events = list(Rig().run(plan))
        origin = next(event.tick for event in events if isinstance(event, Began))
        ticks = np.concatenate([one.ticks for one in peaks])
        mv = np.concatenate([one.heights for one in peaks]) * plan.voltages[0].mv_a_height
        seconds = (ticks - origin) / HZ + float(plan.stage[0].rise_us) / 1e6
        forward, back = [], []
        for begin, end, height in zip(seconds[2:-1], seconds[3:], mv[3:], strict=True):
            if end < 0.18:
                forward.append((tooth_at(6 * RPM * begin, 6 * RPM * end), height))
            elif begin > TURN_BACK_S + 0.001 and end < END_S:
                ends = [TURN_BACK_DEG - 6 * RPM * (at - TURN_BACK_S) for at in (begin, end)]
                back.append((tooth_at(*ends), height))
        assert len(forward) > 340 and len(back) > 200
        return forward, back

    return play


def tooth_at(*ends_deg):
    """The one of two crossings that stands on a tooth: centres are 1.5 degrees behind each 6."""
    return min(ends_deg, key=lambda deg: abs((deg - 1.5 + 3) % 6 - 3)) % 360


def test_run_out_makes_each_tooth_as_strong_as_its_place(tmp_path, heights):
    plan = plan_of(tmp_path, run_out=", run_out: 0.2, closest_at: 90")
    for way in heights(plan):
        for deg, mv in way:
            wanted = RPM * MV_PER_RPM * (1 + 0.2 * math.cos(math.radians(deg - 90)))
            assert mv == pytest.approx(wanted, rel=0.011), deg


def test_a_weak_tooth_is_weak_on_both_sides_of_its_centre_and_no_other_is(tmp_path, heights):
    weak = f"weak: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 500, teeth: [5]}}"
    plan = plan_of(tmp_path, weak)
    for way in heights(plan):
        for deg, mv in way:
            wanted = 500 if abs(deg - 25.5) < 1 else 2000
            assert mv == pytest.approx(wanted, rel=0.002), deg


def test_a_window_and_a_fault_of_two_strengths(tmp_path, heights):
    faults = (
        f"all: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 1200, from_turn: 1, to_turn: 2}}, "
        f"one: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 300, teeth: [20], every: 2}}"
    )
    forward, _ = heights(plan_of(tmp_path, faults))
    second_turn = [mv for deg, mv in forward[116:230] if abs(deg - 115.5) > 1]
    assert np.mean(second_turn[4:-4]) == pytest.approx(1200, rel=0.002)
    teeth = [mv for deg, mv in forward if abs(deg - 115.5) < 1]
    assert teeth == pytest.approx([2000, 2000, 300, 300, 2000, 2000], rel=0.002)


def test_the_stream_has_no_transition_more_and_the_crank_the_same_edges(tmp_path):
    weak = f"weak: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 500, chance: 0.3}}"
    found = []
    for faults in ("", weak):
        plan = plan_of(tmp_path, faults)
        pipeline = Pipeline(plan.signal, HZ, plan.strengths)
        _, chunks = pipeline.pins(plan.output_stage(HZ), HZ // 1000, 5)
        parts = list(chunks)
        ticks = np.concatenate([part.ticks for part in parts])
        found.append(
            (ticks.tolist(), (np.concatenate([part.masks for part in parts]) & 3).tolist())
        )
        assert plan.output_stage(HZ).inverts[:2] == (True, False)
    assert found[0] == found[1]


def test_no_strength_depends_on_where_chunks_end(tmp_path):
    weak = f"weak: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 500, runout_percent: 30, chance: 0.3}}"
    plan = plan_of(tmp_path, weak, ", run_out: 0.1")
    found = []
    for chunk_edges in (7, 30_000):
        _, chunks = Pipeline(plan.signal, HZ, plan.strengths).played(chunk_edges=chunk_edges)
        edges = join(*chunks)
        found.append([edges.ticks.tolist(), edges.track.tolist(), edges.level.tolist()])
    assert found[0] == found[1]
    assert set(found[0][1]) == {0, 1, 4, 5, 6, 7}


def test_what_cannot_be_told_is_said(tmp_path):
    strong = f"strong: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 2500}}"
    with pytest.raises(FileError, match=r"1\.25 times as strong"):
        plan_of(tmp_path, strong)
    weak = f"weak: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 500}}"
    assert "weak_signal" in written(plan_of(tmp_path, weak).signal.faults["weak"])


def test_few_strengths_take_few_outputs_and_are_exact(tmp_path):
    """Of a fault's run-out only that at its own teeth counts."""
    weak = f"weak: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 500, runout_percent: 20, teeth: [5, 9]}}"
    (lines,) = plan_of(tmp_path, weak).strengths
    deg = [25.5, 49.5]
    wanted = sorted(0.25 * (1 + 0.2 * math.cos(math.radians(at))) for at in deg)
    assert (lines.first, lines.bits) == (6, 2)
    assert lines.shares == pytest.approx([*wanted, 1, 1])


def test_many_strengths_are_rounded_as_little_as_can_be():
    """Of a run-out, and of one weak tooth besides, which stays itself."""
    teeth = 1 + 0.2 * np.cos(np.radians(6.0 * np.arange(58)))
    for more in ([], [0.25]):
        values = np.unique([*teeth, *more])
        shares = np.array(nearest_shares(values, 16))
        off = np.abs(values[:, None] / shares - 1).min(axis=1)
        assert len(shares) == 16 and off.max() < 0.0105
        assert not more or shares[0] == 0.25
    assert nearest_shares(np.array([0.0, 0.1, 0.2, 1.0]), 1) == [0]


def test_the_supply_keeps_its_output(tmp_path):
    """Of a switched supply on the highest output there is none left; on a lower one there is."""
    feed = "feed: {output: OUTPUT, on_level: high, off: 0.1, boot: 0.1}\nmotion:"
    text = BENCH.replace("motion:", feed).replace("FAULTS", "").replace("RUNOUT", ", run_out: 0.2")
    path = tmp_path / "bench.yaml"
    path.write_text(text.replace("OUTPUT", "3"), encoding="utf-8")
    lines = load_plan(path).strengths
    assert [(one.first, one.bits) for one in lines] == [(4, 4)]
    path.write_text(text.replace("OUTPUT", "8"), encoding="utf-8")
    with pytest.raises(UsageError, match="an output of the board that nothing else uses"):
        load_plan(path).strengths  # noqa: B018
