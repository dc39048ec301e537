"""A capture on the simulated bench: edge for edge, at its own or a scaled speed, and judged."""

from fractions import Fraction

import numpy as np
import pytest

from captures import FAN_7, MOTIONS, capture_of, table
from edgewheel.bench.events import Pulsed, SyncGained, SyncLost
from edgewheel.bench.loader import load_plan
from edgewheel.bench.replay import replayed, what_is_missing, with_capture
from edgewheel.bench.rerun import plan_of_run
from edgewheel.bench.rig import Rig
from edgewheel.bench.runner import Runner
from edgewheel.bench.truth import Truth, signed_deg
from edgewheel.edges.captures.capture import Capture, write_capture
from edgewheel.edges.captures.playback import Playback, PlaybackTable
from edgewheel.edges.table import EdgeHeader, join
from edgewheel.errors import FileError, UsageError
from edgewheel.fault.pipeline import Pipeline
from edgewheel.learn.known_wheel import known_motion
from edgewheel.search.recorded import RecordedRun
from edgewheel.wheel.library import find

WHEEL = "60-minus-2-half-moon-cam"


@pytest.fixture
def bench(tmp_path):
    path = tmp_path / "bench.yaml"
    path.write_text(FAN_7)
    return path


def captured(motion: str = "up") -> Capture:
    return capture_of(*table(WHEEL, motion), "fan-7.csv")


@pytest.mark.parametrize("speed", [Fraction(1), Fraction(3, 2), Fraction(1, 3)])
def test_every_edge_comes_at_its_time(speed):
    capture = captured()
    played = PlaybackTable(Playback(capture, ("cam", "crank"), speed), 125_000_000)
    edges = join(*played.chunks())
    exact = [Fraction(t * 125, 1) / speed for t in capture.edges.ticks.tolist()]
    assert max(abs(t - e) for t, e in zip(edges.ticks.tolist(), exact, strict=True)) <= Fraction(
        1, 2
    )
    assert edges.track.tolist() == (1 - capture.edges.track).tolist()
    assert played.header().initial == capture.header.initial[::-1]


def test_long_captures_keep_their_ticks():
    capture = captured()
    late = capture.edges.ticks + 10**15
    edges = type(capture.edges)(late, capture.edges.track, capture.edges.level)
    moved = Capture("a", capture.header, edges, int(late[-1]))
    played = join(*PlaybackTable(Playback(moved, ("crank", "cam")), 16_000_000).chunks())
    assert played.ticks.tolist() == (late * 16).tolist()


@pytest.mark.parametrize("speed", ["0", "-1", "1.00001"])
def test_other_speeds_are_refused(speed):
    with pytest.raises(UsageError, match="times as fast"):
        Playback(captured(), ("crank", "cam"), Fraction(speed))


@pytest.mark.parametrize("motion", ["steady", "up", "cranking"])
def test_the_crank_is_where_it_was(motion):
    """Against the motion that the capture was computed from."""
    capture = captured(motion)
    known = known_motion(capture, find(WHEEL))
    assert known.positioned
    assert known.tracks == ("crank", "cam")
    found, true = Truth(known.motion), Truth(MOTIONS[motion])
    end_s = float(known.motion.end_s)
    for seconds in np.linspace(0.02, end_s - 0.02, 200):
        assert abs(signed_deg(found.angle_deg(seconds) - true.angle_deg(seconds))) < 0.3


def test_the_controller_syncs_on_a_capture_and_its_sparks_are_held_to_the_crank(bench):
    plan = with_capture(load_plan(bench), captured())
    events = list(Rig().run(plan))
    assert any(isinstance(event, SyncGained) for event in events)
    assert not any(isinstance(event, SyncLost) for event in events)
    assert sum(isinstance(event, Pulsed) for event in events) > 100
    bench.write_text(FAN_7.replace("tdc_after_reference_deg: 84", "tdc_after_reference_deg: 70"))
    wrong = list(Rig().run(with_capture(load_plan(bench), captured())))
    assert [e.cause.value for e in wrong if isinstance(e, SyncLost)][:1] == ["position"]


def test_a_bench_file_can_name_a_capture(bench, tmp_path):
    with (tmp_path / "log.csv").open("w") as file:
        write_capture(file, captured())
    bench.write_text(FAN_7 + "capture: {file: log.csv, speed: 2}\n")
    plan = load_plan(bench)
    assert plan.signal.capture is not None
    assert float(plan.signal.motion.end_s) == pytest.approx(0.75, abs=0.01)
    assert plan.inputs[-1][0] == "log.edges.csv"
    assert any(isinstance(event, SyncGained) for event in Rig().run(plan))


def beside(bench, tmp_path, words: str):
    """The plan of the bench file with a capture and something beside it."""
    with (tmp_path / "log.csv").open("w") as file:
        write_capture(file, captured())
    bench.write_text(f"{FAN_7}capture: log.csv\n{words}\n")
    return load_plan(bench)


def test_a_motion_has_no_place_beside_a_capture(bench, tmp_path):
    with pytest.raises(UsageError, match="a motion of its own"):
        beside(bench, tmp_path, "motion: {segments: [{hold: 800, turns: 3}]}")


def played(plan):
    """(tick, track, level) of every edge."""
    edges = join(*Pipeline(plan.signal, 1_000_000).edges())
    return set(zip(edges.ticks.tolist(), edges.track.tolist(), edges.level.tolist(), strict=True))


@pytest.mark.parametrize("tooth", [1, 17, 58])
def test_a_fault_beside_a_capture_has_the_teeth_of_the_wheel_file(tooth, bench, tmp_path):
    """The dropped edges are where the motion behind the capture has that tooth."""
    fault = f"faults: {{gone: {{kind: dropped_tooth, track: crank, teeth: [{tooth}]}}}}"
    plan = beside(bench, tmp_path, fault)
    _, edges = table(WHEEL, "up")
    sound = set(zip(edges.ticks.tolist(), edges.track.tolist(), edges.level.tolist(), strict=True))
    gone = sorted(sound - played(plan))
    assert played(plan) <= sound
    turns = 45  # 600 to 3000 rpm in 1.5 s
    assert abs(len(gone) / 2 - turns) <= 1
    truth = Truth(MOTIONS["up"])
    for tick, track, level in gone:
        begin_deg = 6 * (tooth - 1) + (0 if level else 3)
        assert track == 0
        assert abs(signed_deg(truth.angle_deg(tick / 1e6) - begin_deg, 360)) < 0.1


def test_bounce_on_a_capture_is_what_the_controllers_blanking_is_for(bench, tmp_path):
    words = "kind: bounce, track: crank, delay_us: 40, width_us: 10, teeth: [5], after: rise"
    plan = beside(bench, tmp_path, f"faults: {{ringing: {{{words}}}}}")
    pipeline = Pipeline(plan.signal, 1_000_000)
    added = len(join(*pipeline.edges())) - len(captured().edges)
    assert added == pipeline.changes["ringing"].count > 40
    assert not any(isinstance(event, SyncGained) for event in Rig().run(plan))
    blanked = "{line: crank, edge: rising, blanking_percent: 20}"
    bench.write_text(bench.read_text().replace("{line: crank, edge: rising}", blanked))
    assert any(isinstance(event, SyncGained) for event in Rig().run(load_plan(bench)))


def test_faults_of_the_wheel_are_refused_beside_a_capture(bench, tmp_path):
    with pytest.raises(UsageError, match=r"'worn' changes the wheel.*late_tooth"):
        beside(
            bench,
            tmp_path,
            "faults: {worn: {kind: bent_tooth, track: crank, teeth: [3], by_deg: 1}}",
        )


def test_where_the_wheel_is_not_in_it_only_speed_is_judged(bench):
    header, edges = table(WHEEL, "steady")
    random = np.random.default_rng(2)
    keep = np.repeat(random.random(len(edges) // 2) > 0.3, 2)
    ticks, track, level = (
        column[: len(keep)][keep] for column in (edges.ticks, edges.track, edges.level)
    )
    from edgewheel.edges.captures.capture import edges_only
    from edgewheel.edges.table import EdgeChunk

    torn = capture_of(header, edges_only(EdgeChunk(ticks, track, level)))
    plan = with_capture(load_plan(bench), torn)
    assert plan.signals.sparks == {} or plan.signal.capture is not None


def test_tracks_of_other_names_are_found_by_what_they_do():
    capture = captured().renamed({"crank": "left", "cam": "right"})
    assert known_motion(capture, find(WHEEL)).tracks == ("left", "right")


def test_a_capture_of_something_else_is_refused():
    other = capture_of(*table("36-minus-1", "steady"), "log.csv").renamed({"crank": "x"})
    with pytest.raises(UsageError, match="has the tracks x, the wheel has crank, cam"):
        known_motion(other, find(WHEEL))


@pytest.mark.parametrize("name", ["crank", "signal"])
def test_a_cam_that_was_not_captured_is_held_and_that_is_said(name, bench):
    header, edges = table(WHEEL, "up")
    own = edges[edges.track == 0]
    capture = capture_of(EdgeHeader(header.tick_hz, (name,), header.initial[:1]), own, "log.csv")
    plan = with_capture(load_plan(bench), capture)
    assert plan.signal.capture is not None
    assert plan.signal.capture.tracks == (name, None)
    (said,) = what_is_missing(plan)
    assert "log.csv has no cam, which stays at its level" in said
    assert not plan.signals.sparks
    signal = Pipeline(plan.signal, 1_000_000)
    assert signal.header.tracks == ("crank", "cam")
    assert set(join(*signal.edges()).track.tolist()) == {0}
    truth, known = Truth(MOTIONS["up"]), Truth(plan.signal.motion)
    for seconds in (0.3, 0.7, 1.2):
        off_deg = known.angle_deg(seconds) - truth.angle_deg(seconds)
        assert abs(signed_deg(off_deg, 360)) < 0.3


def test_a_whole_capture_lacks_nothing(bench):
    assert what_is_missing(with_capture(load_plan(bench), captured())) == []


def test_a_capture_too_long_to_be_copied_is_asked_for_by_name(bench, tmp_path, monkeypatch):
    with (tmp_path / "log.csv").open("w") as file:
        write_capture(file, captured())
    bench.write_text(f"{FAN_7}\ncapture: log.csv\n")
    monkeypatch.setattr("edgewheel.bench.replay.MOST_COPIED", 100)
    plan = load_plan(bench)
    assert "too many to be copied into the run folder" in what_is_missing(plan)[-1]
    runner = Runner(plan, tmp_path / "runs")
    assert list(runner.events())
    assert not (runner.folder / "log.edges.csv").exists()
    with pytest.raises(FileError, match=r"too long to be copied.*\n.*Put log.csv there"):
        plan_of_run(runner.folder, "bench.yaml")
    (runner.folder / "log.csv").write_text((tmp_path / "log.csv").read_text())
    again = plan_of_run(runner.folder, "bench.yaml")
    assert again.inputs[-1] == plan.inputs[-1]
    assert plan.inputs[-1][0] == "log.not-copied.txt" and "SHA-256" in plan.inputs[-1][1]


def test_the_copy_in_a_run_folder_stands_for_the_capture(bench, tmp_path):
    plan = beside(bench, tmp_path, "")
    folder = tmp_path / "run"
    folder.mkdir()
    for name, text in plan.inputs:
        (folder / name).write_text(text)
    again = load_plan(folder / "bench.yaml")
    assert again.signal.capture is not None
    assert (again.signal.capture.capture.edges.ticks == captured().edges.ticks).all()


@pytest.mark.parametrize("speed", [Fraction(1), Fraction(2, 3)])
def test_the_folder_of_a_replay_plays_it_again_by_itself(speed, bench, tmp_path):
    bench.write_text(FAN_7 + "motion: {segments: [{hold: 800, turns: 3}]}\n")
    plan = replayed(load_plan(bench), captured(), speed)
    runner = Runner(plan, tmp_path / "runs")
    assert list(runner.events())
    bench.unlink()
    for again in (plan_of_run(runner.folder, "bench.yaml"), RecordedRun(runner.folder).plan):
        assert again.name == "Fan 7, fan-7.csv"
        assert again.signals == plan.signals
        assert played(again) == played(plan)
        assert again.signal.motion.end_s == plan.signal.motion.end_s
