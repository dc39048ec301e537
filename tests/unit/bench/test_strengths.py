"""Weak teeth and run-out of a VR sensor that is played as a voltage: every crossing comes, and the
half-waves to both sides of a tooth's centre are as strong as that tooth."""

import math
from fractions import Fraction

import numpy as np
import pytest

from edgewheel.bench.events import Began
from edgewheel.bench.half_wave_numbers import Voiced, number_lines
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import Truth
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.board.waves import Waves
from edgewheel.edges.table import NO_TOOTH, join
from edgewheel.errors import FileError, UsageError
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.strength import RunOut, nearest_shares
from edgewheel.fault.writing import written

HZ = 16_000_000
LEAD = HZ // 1000
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
        pipeline = Pipeline(plan.signal, HZ, plan.number_lines)
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
        _, chunks = Pipeline(plan.signal, HZ, plan.number_lines).played(chunk_edges=chunk_edges)
        edges = join(*chunks)
        found.append([edges.ticks.tolist(), edges.track.tolist(), edges.level.tolist()])
    assert found[0] == found[1]
    assert set(found[0][1]) == {0, 1, 2, 3, 4, 5}


def test_what_cannot_be_told_is_said(tmp_path):
    strong = f"strong: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 2500}}"
    with pytest.raises(FileError, match=r"1\.25 times as strong"):
        plan_of(tmp_path, strong)
    weak = f"weak: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 500}}"
    assert "weak_signal" in written(plan_of(tmp_path, weak).signal.faults["weak"])


def test_few_strengths_take_few_outputs_and_are_exact(tmp_path):
    """Of a fault's run-out only that at its own teeth counts."""
    weak = f"weak: {{kind: {PLAIN}, peak_mv_at_1000_rpm: 500, runout_percent: 20, teeth: [5, 9]}}"
    (lines,) = plan_of(tmp_path, weak).number_lines
    deg = [25.5, 49.5]
    wanted = sorted(0.25 * (1 + 0.2 * math.cos(math.radians(at))) for at in deg)
    assert (lines.first, lines.bits) == (4, 2)
    assert lines.shares == pytest.approx([*wanted, 1])


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


@pytest.mark.parametrize(("output", "lines"), [(3, (3, 3)), (7, (2, 4)), (8, (2, 4))])
def test_the_supply_keeps_its_output(tmp_path, output, lines):
    """Output 7 is the supply's in the hardware, so no line is ever there, nor above."""
    feed = f"feed: {{output: {output}, on_level: high, off: 0.1, boot: 0.1}}\nmotion:"
    text = BENCH.replace("motion:", feed).replace("FAULTS", "").replace("RUNOUT", ", run_out: 0.2")
    path = tmp_path / "bench.yaml"
    path.write_text(text, encoding="utf-8")
    plan = load_plan(path)
    assert [(one.first, one.bits) for one in plan.number_lines] == [lines]
    header, _ = Pipeline(plan.signal, HZ, plan.number_lines).played(supply=plan.supply)
    first = header.tracks.index("crank number, bit 0")
    assert (first, header.tracks.index("supply")) == (lines[0], output - 1)
    path.write_text(text.replace(f"output: {output}", "output: 6"), encoding="utf-8")
    with pytest.raises(UsageError, match="an output of the board that nothing else uses"):
        load_plan(path).number_lines  # noqa: B018


@pytest.mark.parametrize(
    ("used", "lines"), [(2, [(0, 5), (1, 4)]), (4, [(0, 5), (1, 4)]), (5, [(0, 5)])]
)
def test_an_output_goes_where_strengths_need_it(used, lines):
    """The cam needs one for its lengths alone, which are told only if there is one."""
    even = RunOut(0, Fraction(0))
    weak_crank = Voiced(0, even, np.array([0.5, 1]), [Fraction(5)])
    cam = Voiced(1, even, np.array([1.0]), [Fraction(100), Fraction(110)])
    for voiced in ([weak_crank, cam], [cam, weak_crank]):
        found = number_lines(voiced, used, live=False)
        assert [(one.track, one.first) for one in found] == lines
    assert [one.track for one in number_lines([cam, cam], used, live=False)] == [1] * len(lines)


WHEEL = """\
format: 1
name: Some reluctor
period: 360
tracks:
  crank:
    shaft: crank
    teeth: TEETH
"""
DIRECTION = "{pitches: 60, missing: 2}\n    sensor: {direction: {forward_us: 45, reverse_us: 90}}"
ALIKE = {
    "12 and 1": "[" + ", ".join(f"[{n}, {n + 8}]" for n in range(0, 360, 30)) + ", [352, 356]]",
    "three windows": "[[0, 40], [120, 140], [240, 290]]",
    "36 minus 1": "{pitches: 36, missing: 1, width: 1/2}",
}
"""Wheels whose half-waves are no clear multiples of each other."""


SOME_BENCH = """\
format: 1
name: Some reluctor
wheel: wheel.yaml
board: some-port
sensors: {crank: {kind: vr, amplitude: {mv_per_rpm: 2}}}
stage: {crank: {output: vr, leads: grounded}}
controller: {kind: serial, port: other-port, baud: 115200}
faults: {FAULTS}
motion: {MOTION}
"""
CRANKING = "ripple: {depth: 0.3, per_turn: 2, slowest_at: 84}, segments: [{hold: 200, turns: 8}]"
STEADY = "segments: [{hold: 1000, turns: 8}]"


def some_plan(folder, teeth, motion, faults=""):
    (folder / "wheel.yaml").write_text(WHEEL.replace("TEETH", ALIKE[teeth]), encoding="utf-8")
    text = SOME_BENCH.replace("FAULTS", faults).replace("MOTION", motion)
    (folder / "bench.yaml").write_text(text, encoding="utf-8")
    return load_plan(folder / "bench.yaml")


def off_by(folder, teeth, motion, faults=""):
    """Of every half-wave of a run, by how much its height is off that of its own mean speed."""
    plan = some_plan(folder, teeth, motion, faults)
    maker, chunks = Pipeline(plan.signal, HZ, plan.number_lines).pins(
        plan.output_stage(HZ), LEAD, 5
    )
    waves = Waves(1, 8)
    assert all(map(waves.configure, plan.waves(HZ)))
    waves.open(maker.header.initial_mask)
    for chunk in chunks:
        waves.follow(chunk.ticks, chunk.masks)
    (peaks,) = waves.take_peaks()
    truth = Truth(plan.signal.motion)
    seconds = (peaks.ticks - LEAD) / HZ + float(plan.stage[0].rise_us) / 1e6
    turned_deg = np.diff([truth.angle_deg(at) for at in seconds]) % 720
    rpm = turned_deg / 6 / np.diff(seconds)
    return np.abs(peaks.heights[1:] * plan.voltages[0].mv_a_height / (2 * rpm) - 1)


@pytest.mark.parametrize("motion", [CRANKING, STEADY], ids=["cranking", "steady"])
@pytest.mark.parametrize("teeth", ALIKE)
def test_half_waves_of_nearly_one_length_are_told_apart(tmp_path, teeth, motion):
    """By their times alone 69 % of the first wheel's would be wrong under this ripple, 49 % of the
    second's, by the ratio of two lengths."""
    off = off_by(tmp_path, teeth, motion)
    assert len(off) > 40 and off.max() < 0.002


THERE_AND_BACK = (
    "segments: [{hold: 600, turns: 2.3}, {ramp: 0, seconds: 0.05}, "
    "{ramp: 600, seconds: 0.05, reverse: true}, {hold: 600, turns: 2, reverse: true}, "
    "{ramp: 0, seconds: 0.05, reverse: true}, {ramp: 600, seconds: 0.05}, {hold: 600, turns: 2}]"
)
BACK = "segments: [{hold: 600, turns: 8, reverse: true}]"


@pytest.mark.parametrize("motion", [THERE_AND_BACK, BACK], ids=["there and back", "back"])
def test_numbers_tell_the_length_whichever_way_it_turns(tmp_path, motion):
    """It turns back twice between a crossing and the same one."""
    plan = some_plan(tmp_path, "three windows", motion)
    (lines,) = plan.number_lines
    _, chunks = Pipeline(plan.signal, HZ, plan.number_lines).played()
    edges = join(*chunks)
    crossings = edges[edges.track == 0]

    def levels_at_crossings(track):
        line = edges[edges.track == track]
        place = np.searchsorted(line.ticks, crossings.ticks, "right")
        return np.append(0, line.level)[place]

    numbers = sum(levels_at_crossings(lines.first + bit) << bit for bit in range(lines.bits))
    truth = Truth(plan.signal.motion)
    turned_deg = np.diff([truth.angle_deg(tick / HZ) for tick in crossings.ticks.tolist()])
    lengths_deg = np.abs((turned_deg + 360) % 720 - 360)
    whole = (crossings.passage[:-1] != NO_TOOTH) & (crossings.passage[1:] != NO_TOOTH)
    assert np.sum(whole) > 35
    told_deg = np.array(lines.lengths_deg)[numbers[:-1]]
    assert told_deg[whole] == pytest.approx(lengths_deg[whole], rel=1e-5)


def test_a_reluctor_takes_the_place_of_a_sensor_that_tells_the_direction(tmp_path, monkeypatch):
    monkeypatch.setitem(ALIKE, "direction", DIRECTION)
    assert off_by(tmp_path, "direction", STEADY).max() < 0.002


@pytest.mark.parametrize("fault", ["late_tooth, deg: 2", "bounce, delay_us: 90, width_us: 20"])
def test_a_fault_spoils_no_more_than_the_teeth_it_is_at(tmp_path, fault):
    kind, rest = fault.split(", ", 1)
    line = f"one: {{kind: {kind}, track: crank, teeth: [20], {rest}}}"
    off = off_by(tmp_path, "36 minus 1", STEADY, line)
    assert 0 < np.sum(off > 0.05) <= 5 * 8
