"""VR outputs: from a wheel and an amplitude to the board, and a controller's arming threshold."""

import json
import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
import yaml

from edgewheel.bench.events import Pulsed
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.voltages import shape
from edgewheel.board.stage_store import SHIPPED
from edgewheel.cli.main import main
from edgewheel.errors import FileError
from edgewheel.fault.signal import sound_signal
from edgewheel.link.waves import WaveForm, WaveTrack
from edgewheel.search.variant import Variant, varied
from plain_waves import MIDDLE, code_of

BENCH = """\
format: 1
name: Arming threshold
wheel: 60-minus-2-half-moon-cam
sensors:
  crank: {kind: vr, amplitude: {mv_per_rpm: MV}}
stage:
  crank: {output: vr, full_scale_mv: 20000, rise_us: 9.6, fall_us: 9.6}
controller:
  kind: sim
  settings:
    crank:
      line: crank
      blanking_percent: 20
      vr: {arming_mv: [[0, 100], [1000, 400], [5000, 4000]], teeth_a_turn: 60}
    cam: {line: cam}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    phase: {by: level, level: high}
    engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}
motion:
  segments:
    - {hold: 1000, seconds: 0.4}
"""
HZ = 125_000_000
LEADS = "leads: {kind: leads_reversed, track: crank}"
OFF_CENTRE = "bent: {kind: eccentric, track: crank, offset_percent: 1}"


def bench_file(folder, mv="2", *changes):
    text = BENCH.replace("MV", mv)
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "vr.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def form_of(plan):
    (config,) = plan.waves(HZ)
    assert (config.wave, config.output) == (0, 0)
    return WaveForm.read(config.fields)


@pytest.mark.parametrize(("rpm", "threshold_mv"), [(400, 220), (1000, 400), (3000, 2200)])
def test_the_arming_threshold_against_speed_comes_back(tmp_path, capsys, rpm, threshold_mv):
    """What was set in the controller, and only there, is what the search over amplitude finds."""
    expected = threshold_mv / rpm
    found = main(
        [
            "threshold", str(bench_file(tmp_path)), "sensors.crank.amplitude.mv_per_rpm",
            "--from", f"{expected * 0.6:.4f}", "--to", f"{expected * 1.6:.4f}",
            "--speed", str(rpm), "--hold", "0.2", "--within", "4", "--json",
            "--runs", str(tmp_path),
        ]
    )  # fmt: skip
    assert found == 0
    data = json.loads(capsys.readouterr().out)
    low, high = data["low"], data["high"]
    assert low <= expected * 1.01 and expected * 0.99 <= high
    assert high - low < 0.06 * expected


def test_sparks_are_late_by_the_low_pass_before_the_comparator(tmp_path):
    """A half-wave of 500 us at 1,000 rpm: atan(w RC) / w is 49.2 us for 50 us."""
    low_pass = ("teeth_a_turn: 60", "teeth_a_turn: 60, time_constant_us: 50")
    seconds = []
    for changes in ((), (low_pass,)):
        events = Rig().run(load_plan(bench_file(tmp_path, "2", *changes)))
        seconds.append([one.seconds for one in events if isinstance(one, Pulsed) and one.level])
    quick, late = (np.array(one[-8:]) for one in seconds)
    assert late - quick == pytest.approx(49.2e-6, abs=1e-6)


def test_amplitude_is_proportional_to_speed_up_to_the_knee(tmp_path):
    knee = ("mv_per_rpm: 2", "mv_per_rpm: 2, knee_rpm: 2000")
    plan = load_plan(bench_file(tmp_path, "2", knee))
    form, voltage = form_of(plan), plan.voltages[0]
    for rpm, wanted_mv in ((50, 100), (500, 1000), (2000, 4000), (6000, 4000)):
        ticks = round(3 / (6 * rpm) * HZ)
        told = WaveTrack(form).tell(ticks)
        codes = [code_of(form, told, 1, ticks, at) for at in range(0, ticks, ticks // 500)]
        mv = (max(codes) - MIDDLE) / MIDDLE * float(voltage.full_scale_mv)
        assert mv == pytest.approx(wanted_mv, rel=0.01)
        assert told.height * voltage.mv_a_height == pytest.approx(wanted_mv, rel=0.01)


def test_kinds_of_half_waves_are_the_wheels(tmp_path):
    form = form_of(load_plan(bench_file(tmp_path)))
    pitch, gap = (one.knee_ticks for one in form.half_waves)
    assert gap / pitch == pytest.approx(3, rel=1e-4)
    assert form.half_waves[0].shape[8] == 255
    assert max(form.half_waves[1].shape[12:]) < 3


def test_faults_of_the_wheel_add_their_half_waves_and_small_ones_add_none(tmp_path):
    """Beside a missing tooth of 60-2 half-waves are twice as long as others, not thrice."""
    for fault, lengths in (
        ("{kind: missing_tooth, track: crank, teeth: [30]}", [1, 2, 3]),
        ("{kind: eccentric, track: crank, offset_percent: 1}", [1, 3]),
        ("{kind: bent_tooth, track: crank, teeth: [30], by_deg: 1}", [5 / 6, 1, 7 / 6, 3]),
    ):
        change = ("motion:", f"faults: {{one: {fault}}}\nmotion:")
        form = form_of(load_plan(bench_file(tmp_path, "2", change)))
        found = [one.knee_ticks for one in form.half_waves]
        scale = found[lengths.index(1)]
        assert [ticks / scale for ticks in found] == pytest.approx(lengths, rel=1e-3), fault


def test_a_voltage_without_its_only_tooth_can_be_played_and_made_sound(tmp_path):
    gone = "faults: {gone: {kind: missing_tooth, track: cam, teeth: [1]}}\nmotion:"
    on_cam = [(f"crank: {{{key}: vr", f"cam: {{{key}: vr") for key in ("kind", "output")]
    plan = load_plan(bench_file(tmp_path, "2", *on_cam, ("motion:", gone)))
    sound = load_plan(bench_file(tmp_path, "2", *on_cam))
    mended = replace(plan, signal=sound_signal(plan.signal))
    assert plan.waves(HZ) == mended.waves(HZ) == sound.waves(HZ) != ()


def test_a_half_wave_is_zero_at_its_ends_and_mirrors_at_half_a_pitch():
    even = shape(3, 1.5, 1.5)
    assert (even[0], even[-1], max(even)) == (0, 0, 255)
    assert even == even[::-1]
    assert shape(9, 1.5, 0.75).index(255) in (2, 3)


@pytest.mark.parametrize(
    ("change", "level"),
    [
        (("rise_us: 9.6", "inverts: true, rise_us: 9.6"), 0),
        (("kind: vr,", "kind: vr, metal: low,"), 0),
        (("motion:", f"faults: {{{LEADS}}}\nmotion:"), 0),
        (("motion:", f"faults: {{{LEADS}, {OFF_CENTRE}}}\nmotion:"), 0),
        (("motion:", f"faults: {{{OFF_CENTRE}}}\nmotion:"), 1),
        (("rise_us: 9.6", "rise_us: 9.6"), 1),
    ],
)
def test_which_half_wave_leads_up_to_a_tooth(tmp_path, change, level):
    assert form_of(load_plan(bench_file(tmp_path, "2", change))).approach == level


@pytest.mark.parametrize("leads", ["grounded", "floating"])
def test_the_boards_own_vr_stage_is_known_by_its_leads(tmp_path, leads):
    """The shipped figures are those that the circuits simulation wrote; a bench file's own win."""
    figures = yaml.safe_load(SHIPPED.read_text())["vr"][leads]
    own = ("full_scale_mv: 20000, rise_us: 9.6, fall_us: 9.6", f"leads: {leads}")
    plan = load_plan(bench_file(tmp_path, "1", own))
    times = plan.stage[0]
    delay_us = Fraction(str(figures["delay_us"]))
    assert (times.inverts, times.rise_us, times.fall_us) == (True, delay_us, delay_us)
    assert times.voltage.full_scale_mv == 1000 * Fraction(str(figures["full_scale_v"]))
    form = form_of(plan)
    assert form.approach == 0
    assert form.corner_ticks == round(HZ / (2 * math.pi * figures["corner_hz"]))
    measured = ("rise_us: 9.6", f"leads: {leads}, inverts: false, corner_hz: 0, rise_us: 9.6")
    plan = load_plan(bench_file(tmp_path, "1", measured))
    times = plan.stage[0]
    assert (times.rise_us, times.voltage.full_scale_mv) == (Fraction("9.6"), 20000)
    form = form_of(plan)
    assert (form.approach, form.corner_ticks) == (1, 0)


def test_a_diagnosis_plays_the_voltage_of_its_suspect(tmp_path):
    """Its polarity, and every tooth: what is too weak is for the controller to find."""
    threshold = ("mv_per_rpm: 2", "mv_per_rpm: 2, threshold_mv: 1000000")
    plan = load_plan(bench_file(tmp_path, "2", threshold))
    for variant, approach in ((Variant(), 1), (Variant().turn_over("crank"), 0)):
        suspect = varied(plan, variant, Fraction(0))
        assert form_of(suspect).approach == approach
        assert suspect.signal.levels.vr[0].amplitude is None


def faulty(words):
    return "motion:", f"faults: {{bad: {{{words}}}}}\nmotion:"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (faulty("kind: polarity, track: crank, off: true"), "Write 'kind: leads_reversed'"),
        (faulty("kind: swapped, track: crank, other: cam"), "in 'sensors' and in 'stage'"),
        (faulty("kind: swapped, track: cam, other: crank"), "'crank' is played as a voltage"),
        (("kind: vr, ", "kind: hall, "), "only a VR sensor's amplitude"),
        (("kind: vr, amplitude: {mv_per_rpm: 2}", "kind: vr"), "of known amplitude"),
        (("fall_us: 9.6", "fall_us: 1"), "Write the same 'rise_us' and 'fall_us'"),
        (("mv_per_rpm: 2", "mv_per_rpm: 2, knee_rpm: 20000"), "more than the stage makes"),
        (("mv_per_rpm: 2", "mv_per_rpm: 2, knee_rpm: 9000, run_out: 0.2"), "run-out included"),
        (("[[0, 100], [1000, 400], ", "[[5000, 1], "), "do not ascend"),
        (("full_scale_mv: 20000", "leads: crossed"), "grounded"),
        (("full_scale_mv: 20000", "full_scale_mv: 20000, corner_hz: 20"), "15"),
        (("output: vr, full_scale_mv: 20000", "output: VR, leads: floating"), "hall, vr"),
        (("output: vr, full_scale_mv: 20000", "leads: grounded"), "only a VR output has leads"),
    ],
)
def test_what_cannot_be_played_is_said(tmp_path, change, words):
    with pytest.raises(FileError, match=words):
        load_plan(bench_file(tmp_path, "2", change))


def test_the_polarity_of_a_level_beside_a_voltage_turns_over(tmp_path):
    faults = load_plan(bench_file(tmp_path, "2", faulty("kind: polarity, track: cam"))).signal
    assert list(faults.faults) == ["bad"]


def test_a_hall_track_read_by_a_vr_sensor_says_how_far_its_timing_moves(tmp_path, capsys):
    """A tooth of half a pitch of 6 degrees: its centre lies 1.5 degrees behind its edge."""
    assert main(["run", str(bench_file(tmp_path)), "--dry-run"]) == 0
    assert "centre, 1.5 crank degrees after the edge where metal comes" in capsys.readouterr().err
    plain = bench_file(
        tmp_path, "2",
        ("kind: vr, amplitude: {mv_per_rpm: 2}", "kind: hall"),
        ("output: vr, full_scale_mv: 20000, ", ""),
    )  # fmt: skip
    assert main(["run", str(plain), "--dry-run"]) == 0
    assert "crank degrees" not in capsys.readouterr().err
