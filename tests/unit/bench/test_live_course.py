"""A live run plays, edge for edge, what a script of the same course would."""

import json
from fractions import Fraction

import numpy as np
import pytest

from edgewheel.bench.links import Heard
from edgewheel.bench.live.state import CourseRefused, FaultState
from edgewheel.bench.loader import load_plan
from edgewheel.bench.truth import Truth
from edgewheel.errors import FileError, UsageError
from edgewheel.link.events import SpliceTaken
from edgewheel.search.recorded import RecordedRun
from live_bench import (
    EDGE_FAULTS,
    HZ,
    LAST_S,
    METAL_FAULTS,
    Playing,
    assert_as_scripted,
    differences,
    line,
    scripted,
    sound_of,
)


def test_speeds_by_steps_and_ramps(tmp_path):
    playing = Playing(tmp_path, 1000)
    playing.play(0.5)
    playing.speed(3000)
    playing.play(0.3)
    playing.speed(800, rate=4000)
    playing.play(0.2)
    playing.speed(1500, rate=3000)
    playing.play(0.5)
    playing.park()
    assert [taken.rpm for taken in playing.taken] == [3000, 800, 1500]
    assert max(taken.after_ms for taken in playing.taken) < 200
    assert_as_scripted(playing)


def test_ramps_begin_at_the_speed_on_the_pins(tmp_path):
    playing = Playing(tmp_path, 1000)
    playing.play(0.2)
    playing.speed(3000, rate=1000)
    playing.play(0.6)
    playing.speed(1000, rate=1000)
    playing.play(0.1)
    playing.park()
    motion = playing.run.leg.motion
    speeds = [(motion[n].segment.rpm_begin, motion[n].segment.rpm_end) for n in range(3)]
    turned_at = speeds[1][1]
    assert speeds == [(1000, 1000), (1000, turned_at), (turned_at, 1000)]
    assert 1500 < turned_at < 1700


@pytest.mark.parametrize(
    ("wheel", "track"),
    [("4-even-cam", "cam"), ("36-minus-1-direction", "crank"), ("24-even-1-tooth-cam", "crank")],
)
def test_ripple_and_output_stage(tmp_path, wheel, track):
    more = (
        f"stage: {{{track}: {{inverts: true, rise_us: 12, fall_us: 3}}}}\n"
        "motion: {ripple: {depth: 0.2, per_turn: 2}, segments: [{hold: 250, seconds: 1}]}"
    )
    playing = Playing(tmp_path, 300, more, wheel=wheel)
    for rpm, rate in ((2000, None), (250, 3000), (6000, None)):
        playing.play(0.4)
        playing.speed(rpm, rate)
    playing.play(0.4)
    playing.park()
    assert len(playing.taken) == 3
    assert_as_scripted(playing)


@pytest.mark.parametrize("kind", EDGE_FAULTS)
def test_faults_of_sensor_and_loom(tmp_path, kind):
    playing = Playing(tmp_path, 1000, line(kind, EDGE_FAULTS[kind]))
    playing.play(0.2)
    playing.fault("bad", FaultState.HELD)
    playing.play(0.4)
    assert playing.run.leg.active(playing.run.leg.motion.end_s) == ("bad",)
    playing.speed(1800)
    playing.play(0.3)
    playing.fault("bad", FaultState.OFF)
    playing.play(0.2)
    playing.park()
    assert_as_scripted(playing, apart_s=0.0005 if kind == "jitter" else 0)
    held, off = (playing.taken[n].seconds for n in (0, 2))
    differs = differences(playing)
    assert len(differs) and held <= differs[0] and differs[-1] <= off + LAST_S


@pytest.mark.parametrize("kind", METAL_FAULTS)
def test_faults_of_the_wheel(tmp_path, kind):
    playing = Playing(tmp_path, 1000, line(kind, METAL_FAULTS[kind]))
    playing.play(0.2)
    playing.fault("bad", FaultState.HELD)
    playing.play(0.4)
    playing.fault("bad", FaultState.OFF)
    playing.play(0.2)
    playing.park()
    sound = sound_of(playing)
    faulty = Playing(tmp_path, 1000, line(kind, METAL_FAULTS[kind], off=False))
    faulty.play(1.2)
    faulty.park()
    borders = [taken.seconds * HZ for taken in playing.taken]
    ticks, masks = playing.pins()
    for part, wanted in ((0, sound), (1, None), (2, sound)):
        begin, end = [0, *borders, ticks[-1]][part : part + 2]
        want_ticks, want_masks = scripted(playing, wanted) if wanted else faulty.pins()
        here = (ticks > begin) & (ticks < end)
        there = (want_ticks > begin) & (want_ticks < end)
        assert ticks[here].tolist() == want_ticks[there].tolist()
        assert masks[here].tolist() == want_masks[there].tolist()


def test_standstill_and_on_again(tmp_path):
    playing = Playing(tmp_path, 600)
    playing.play(0.3)
    playing.speed(0)
    playing.play(90)
    assert playing.run.leg.rpm == 0
    stands = playing.taken[0].seconds
    playing.speed(1200)
    playing.play(0.5)
    playing.park()
    again = playing.taken[1].seconds
    ticks, masks = playing.pins()
    real = np.flatnonzero(np.diff(masks, prepend=masks[0] ^ 1))
    real = ticks[real] / HZ
    assert not len(real[(real > stands) & (real < again)])
    truth = Truth(playing.run.leg.motion)
    assert truth.angle_deg(stands) == pytest.approx(truth.angle_deg(again), abs=1e-6)
    assert truth.rpm(again - 1) == 0 and truth.rpm(again + 0.1) == 1200
    assert playing.taken[1].after_ms < 200


def test_a_start_at_standstill(tmp_path):
    playing = Playing(tmp_path, 0)
    playing.play(1)
    playing.speed(900, rate=3000)
    playing.play(0.5)
    playing.park()
    assert playing.events[-1].aborted and playing.taken[0].after_ms < 200


def test_wishes_that_come_together_are_one(tmp_path):
    playing = Playing(tmp_path, 1000, line("lost", EDGE_FAULTS["lost"]))
    playing.play(0.2)
    for rpm in (1100, 1200, 1300):
        playing.speed(rpm)
    playing.fault("bad", FaultState.HELD)
    playing.play(0.2)
    playing.park()
    assert [taken.rpm for taken in playing.taken] == [1100, 1300]
    assert playing.taken[-1].after_ms < 200
    assert_as_scripted(playing)


def test_what_cannot_be_played_is_refused_and_the_old_course_goes_on(tmp_path):
    playing = Playing(tmp_path, 1000, line("bent_tooth", "track: crank, teeth: [5], by_deg: 1"))
    playing.play(0.2)
    playing.fault("bad", FaultState.HELD)
    playing.play(0.1)
    playing.edit("faults.bad.by_deg", "4")
    playing.play(0.2)
    playing.park()
    refused = [event for event in playing.events if isinstance(event, CourseRefused)]
    assert len(refused) == 1 and "goes too far" in refused[0].why
    assert [taken.rpm for taken in playing.taken] == [1000]


def test_numbers_of_a_fault_change_on_the_pins(tmp_path):
    playing = Playing(tmp_path, 1000, line("extra_pulse", "track: crank, teeth: [9], width_us: 60"))
    playing.fault("bad", FaultState.HELD)
    playing.play(0.3)
    playing.edit("faults.bad.width_us", "90")
    playing.play(0.3)
    playing.park()
    ticks, _ = playing.crank()
    widths = np.diff(ticks)
    border = playing.taken[-1].seconds * HZ
    short = widths < 100 * HZ / 1e6
    assert set(widths[short & (ticks[1:] < border)]) == {60 * 16}
    assert set(widths[short & (ticks[1:] > border)]) == {90 * 16}


def test_orders_that_cannot_be_are_refused_in_words(tmp_path):
    more = "faults: {bad: {kind: lost, track: cam}, start: {off: true, kind: false_start, "
    playing = Playing(tmp_path, 1000, more + "track: crank, teeth: 4, rpm: 400, pause_s: 0.05}}")
    with pytest.raises(UsageError, match=r"There is no fault 'bed'.*bad, start"):
        playing.fault("bed", FaultState.HELD)
    with pytest.raises(UsageError, match="Play it with 'edgewheel run'"):
        playing.fault("start", FaultState.ONCE)
    with pytest.raises(FileError, match="'shape' is missing"):
        playing.edit("faults.bad.shape", "3")
    with pytest.raises(UsageError, match="cannot be changed while the engine turns"):
        playing.edit("sweep.from", "3")


def test_the_run_folder_says_which_course_was_taken(tmp_path):
    more = (
        line("lost", EDGE_FAULTS["lost"]) + "\nmotion: {start: 30, segments: [{hold: 1, turns: 1}]}"
    )
    playing = Playing(tmp_path, 1000, more)
    playing.play(0.3)
    playing.speed(2500, rate=5000)
    playing.fault("bad", FaultState.HELD)
    playing.play(0.1)
    playing.speed(700)
    playing.play(0.2)
    folder = playing.run.record.folder
    cut_off = load_plan(folder / "bench.yaml").signal.motion
    playing.park()
    found, taken = RecordedRun(folder).plan.signal.motion, playing.run.leg.motion
    assert float(found.end_s) == pytest.approx(playing.events[-1].seconds)
    for motion in (found, cut_off):
        for seconds in (Fraction(n, 100) for n in range(60)):
            assert motion.at(seconds) == taken.at(seconds)
    summary = json.loads((folder / "summary.json").read_text())
    assert summary["kind"] == "live"
    (fault,) = summary["faults"]
    assert fault["name"] == "bad" and fault["from_s"] == playing.taken[1].seconds


def test_start_and_change_may_be_heard_at_once(tmp_path):
    playing = Playing(tmp_path, 1000)
    playing.speed(2000)
    steps = []
    while not any(isinstance(event, SpliceTaken) for step in steps for event in step.events):
        steps.append(playing.link.step())
    events = tuple(event for step in steps for event in step.events)
    playing.events += playing.run.take(Heard(events, (), steps[-1].tick))
    playing.play(0.2)
    playing.park()
    assert [taken.rpm for taken in playing.taken] == [2000]


@pytest.mark.parametrize("state", [FaultState.HELD, FaultState.OFF])
def test_the_only_line_may_be_lost_for_good(tmp_path, state):
    """Nothing is left to play until the motion's end, which is days away: nobody looks so far."""
    more = (
        "faults: {lost: {off: true, kind: lost, track: crank, shows: high},"
        " worn: {kind: jitter, track: crank, deg: 0.1}}"
    )
    playing = Playing(tmp_path, 1000, more, {"lost": state}, wheel="36-minus-1")
    playing.play(0.2)
    for other in (FaultState.HELD, FaultState.OFF):
        playing.fault("lost", other)
        playing.play(0.4)
    playing.park()
    ticks = playing.crank()[0][1:]
    lost_s, back_s = (one.seconds for one in playing.taken)
    turning = ticks[(ticks > (back_s + 0.01) * HZ) & (ticks < (back_s + 0.13) * HZ)]
    assert len(turning) == pytest.approx(2 * 70, abs=2)
    assert not np.any((ticks > (lost_s + LAST_S) * HZ) & (ticks < (back_s - 0.001) * HZ))
