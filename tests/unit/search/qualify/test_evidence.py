"""A controller that is wrong passes no test of the demo's suite for want of looking."""

import json
import shutil
from dataclasses import replace
from math import inf

import pytest

from edgewheel.bench.events import Finished, Pulsed
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.search_record import Trial
from edgewheel.search.qualify.bounds import Grade
from edgewheel.search.qualify.from_angles import GOLDEN_DEG
from edgewheel.search.qualify.playing import Player
from edgewheel.search.qualify.reading import load_qualify, only
from edgewheel.search.qualify.sample_run import SampleRun
from edgewheel.search.qualify.shown import Shown
from edgewheel.search.starts import teeth_between
from qualify_suite import DEMO


def shown_by(folder, test_name: str, was: str, becomes: str, number: int = 0):
    """What one trial of the demo's test shows, with its bench file changed in one place."""
    shutil.copytree(DEMO.parent, folder / "changed")
    bench = folder / "changed" / "bench.yaml"
    assert was in bench.read_text()
    bench.write_text(bench.read_text().replace(was, becomes))
    plan = load_qualify(folder / "changed" / DEMO.name)
    (test,) = only(plan, [test_name])
    return test.kind.play(Rig(), test.kind.plan(plan.bench, number, 1, ()))


@pytest.mark.parametrize(
    ("was", "becomes", "says"),
    [
        ("after_reference_deg: 84", "after_reference_deg: 444", "360 degrees out"),
        ("order: [1, 3, 4, 2]", "order: [1, 2, 4, 3]", "coil_2, coil_3 out of step"),
        ("by: edge", "by: none", "coils fire in both turns"),
    ],
)
def test_sparks_in_the_wrong_turn_or_cylinder_are_no_small_angle_error(
    tmp_path, was, becomes, says
):
    shown = shown_by(tmp_path, "timing", was, becomes)
    assert not shown.passed and says in shown.detail
    assert shown.figures["angle_error_deg"] == pytest.approx(360, abs=1)
    assert shown.figures["delay_us"] == pytest.approx(21, abs=1)


def test_sound_sparks_have_the_error_of_the_controller(tmp_path):
    shown = shown_by(tmp_path, "timing", "output_delay_us: 15", "output_delay_us: 55")
    assert shown.passed and "out" not in shown.detail
    assert shown.figures["angle_error_deg"] < 0.01
    assert shown.figures["delay_us"] == pytest.approx(61, abs=1)


def test_a_coil_that_never_sparks_leaves_no_number():
    plan = load_qualify(DEMO)
    (test,) = only(plan, ["timing"])
    trial = test.kind.plan(plan.bench, 0, 1, ())
    coils = trial.signals.sparks
    wired = {**coils, "coil_5": next(iter(coils.values()))}
    shown = test.kind.play(Rig(), replace(trial, signals=replace(trial.signals, sparks=wired)))
    assert not shown.passed and shown.detail == "no spark of coil_5"
    assert not set(test.kind.measures) & set(shown.figures)


class Deaf(Rig):
    """A bench that misses one spark of each coil, late in the first speed that is held."""

    def run(self, plan):
        held = plan.signal.motion[1]
        from_s = float(held.end_s) - 0.4 * float(held.segment.seconds)
        missed = dict.fromkeys(plan.signals.sparks, 2)
        for event in super().run(plan):
            if isinstance(event, Pulsed) and event.seconds > from_s and missed.get(event.line):
                missed[event.line] -= 1
            else:
                yield event


def test_sparks_that_never_come_are_counted():
    plan = load_qualify(DEMO)
    (test,) = only(plan, ["timing"])
    trial = test.kind.plan(plan.bench, 0, 1, ())
    shown = test.kind.play(Deaf(), trial)
    assert shown.figures["lost_sparks"] == len(trial.signals.sparks) == 4
    assert not shown.passed and shown.detail == "4 sparks missed, 0 doubled"
    (lost,) = (b for m, b in test.bounds.items() if m == "lost_sparks")
    assert lost.grade(test.kind.measured("lost_sparks", [shown] * 8)) is Grade.FAILED


def test_any_number_of_starts_have_angles_of_their_own():
    plan = load_qualify(DEMO)
    (starts,) = only(plan, ["starts"])
    angles = {number * GOLDEN_DEG % 720 for number in range(1440)}
    assert len(angles) == 1440
    assert starts.kind.plan(plan.bench, 3, 1, ()).signal.motion.start_deg in angles


@pytest.mark.parametrize(
    ("to_deg", "teeth"), [(84, 1), (84.1, 1), (90, 2), (84 + 719.9, 116), (84 + 720, 117)]
)
def test_teeth_are_counted_with_the_first_and_the_last(to_deg, teeth):
    wheel = load_plan(DEMO.parent / "bench.yaml").wheel
    assert teeth_between(wheel.track("crank"), wheel.period, 84.0, to_deg) == teeth


class Coils(Rig):
    """A bench with two coils that charge when the crank stops after a second, and what they do."""

    def __init__(self, *edges):
        super().__init__()
        self.edges = edges

    def run(self, plan):
        stop_s = float(plan.signal.motion[3].begin_s)
        for line in ("coil_1", "coil_3"):
            yield Pulsed(0, stop_s - 0.002, line, 1)
        for line, level, after_ms in self.edges:
            yield Pulsed(0, stop_s + after_ms / 1000, line, level)
        yield Finished(stop_s, True, False, "")


@pytest.mark.parametrize(
    ("edges", "off_ms", "strays"),
    [
        ([("coil_1", 0, 3), ("coil_3", 0, 5)], 5, 0),
        ([("coil_1", 0, 3)], inf, 0),
        ([("coil_1", 0, 3), ("coil_3", 0, 5), ("coil_1", 1, 9), ("coil_1", 0, 12)], 5, 1),
    ],
)
def test_every_coil_that_charges_at_a_stop_must_go_off_and_none_may_spark_again(
    edges, off_ms, strays
):
    plan = load_qualify(DEMO)
    (test,) = only(plan, ["stop_in_dwell"])
    looked = [Shown(True, "", figures={"dwells": {"coil_1": (60.0, 76.0)}})]
    shown = test.kind.play(Coils(*edges), test.kind.plan(plan.bench, 1, 1, looked))
    assert shown.figures["off_ms"] == pytest.approx(off_ms)
    assert shown.figures["stray_sparks"] == strays
    assert shown.passed is (off_ms < inf)


def test_who_never_has_sync_has_noticed_no_fault_that_comes_later(tmp_path):
    deaf = "crank: {line: crank, edge: rising, filter_us: 90000"
    shown = shown_by(tmp_path, "cam_lost", "crank: {line: crank, edge: rising, filter_us: 6", deaf)
    assert not shown.passed
    assert shown.detail == "no sync before the fault, so it met none"


def test_a_stop_without_sync_before_it_counts_as_one_that_is_never_noticed(tmp_path):
    deaf = "crank: {line: crank, edge: rising, filter_us: 90000"
    shown = shown_by(tmp_path, "stall", "crank: {line: crank, edge: rising, filter_us: 6", deaf)
    assert not shown.passed and shown.figures == {"ms": inf}


@pytest.mark.parametrize(
    ("never", "grade", "says"),
    [
        (0, Grade.PASSED, "Half of the trials within 400 ms"),
        (1, Grade.PASSED, "1 of 12 trials failed, the first: it still claims sync"),
        (12, Grade.FAILED, "In fewer than half of the trials it comes at all"),
    ],
)
def test_a_sample_says_how_many_trials_failed_and_how(tmp_path, monkeypatch, never, grade, says):
    plan = load_qualify(DEMO)
    (test,) = only(plan, ["stall"])

    def trial(_, name, number, *__):
        held = number >= never
        detail = "said" if held else "it still claims sync"
        figures = json.dumps({"ms": 400.0 if held else None})
        return Trial(number, "{}", 1, held, detail, "", 1.0, figures)

    monkeypatch.setattr(Player, "play", trial)
    with Player(plan, tmp_path) as player:
        run = SampleRun(test, player)
        list(run.steps())
    (outcome,) = run.outcomes()
    assert outcome.grade is grade and says in outcome.sentence
