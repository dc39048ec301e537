"""Verdicts, intervals and comparisons by themselves, and what a plan may not say."""

import random
import shutil
from fractions import Fraction
from math import inf

import pytest

from edgewheel.cli.main import main
from edgewheel.errors import BenchError, FileError, Place
from edgewheel.search.posterior import Answer
from edgewheel.search.qualify.bounds import Bound, Grade, Measured
from edgewheel.search.qualify.changes import Hits, Searched, chance, fewer, holm, larger
from edgewheel.search.qualify.playing import Player
from edgewheel.search.qualify.qualification import Qualification
from edgewheel.search.qualify.reading import load_qualify, only
from edgewheel.search.qualify.recovery import Recovery, RecoveryKeys
from edgewheel.search.qualify.samples import quantile, trials_for
from edgewheel.search.qualify.shipped import names
from edgewheel.search.qualify.shown import Shown
from edgewheel.search.trials import SearchStopped
from edgewheel.yamlfile import Node
from qualify_suite import DEMO, play, short_plan


@pytest.mark.parametrize(
    ("value", "low", "high", "grade"),
    [
        (110, 106, 112, Grade.PASSED),
        (110, 104, 112, Grade.MARGINAL),
        (101, 95, 112, Grade.MARGINAL),
        (99, 98, 120, Grade.FAILED),
        (120, -inf, inf, Grade.MARGINAL),
    ],
)
def test_a_value_passes_only_with_its_whole_interval_beyond_the_band(value, low, high, grade):
    assert Bound("at_least", 100, 5).grade(Measured(value, low, high, "rpm")) is grade
    mirrored = Measured(-value, -high, -low, "rpm")
    assert Bound("at_most", -100, 5).grade(mirrored) is grade


def test_a_quantile_has_an_end_only_where_there_are_trials_enough():
    few = trials_for(0.9)
    assert few == 36
    assert quantile(range(few), 0.9, "ms").high == few - 1
    assert quantile(range(few - 1), 0.9, "ms").high == inf
    assert quantile([1.0] * 40 + [inf] * 10, 0.9, "ms").value == inf


def test_a_trial_without_sync_before_its_fault_is_not_counted_as_a_loss():
    figures = [{"tooth": 3, "teeth": 0}, {"tooth": 4, "teeth": 20}, {"tooth": 5, "teeth": inf}]
    trials = [Shown(True, "", figures=one) for one in [*figures, {"teeth": inf}]]
    recovery = Recovery(RecoveryKeys(Fraction(1000)), "x", Node(Place("plan"), {}))
    assert recovery.words("teeth", trials) == (
        "sync was lost in 2 of 3 trials, in 1 it never came back, "
        "in 1 more there was none before the fault"
    )


def test_two_samples_far_apart_differ_and_equal_ones_do_not():
    assert larger([5, 6, 7, 8, inf], [1, 2, 3, 4, 4]) < 0.01
    assert larger([3.0] * 8, [3.0] * 8) == 1.0
    assert fewer(Hits(0, 20), Hits(20, 20)) < 1e-9
    assert fewer(Hits(20, 20), Hits(20, 20)) == 1.0


def bracket(at: float) -> Searched:
    ends = ((at - 0.01, False), (at + 0.01, True))
    return Searched(tuple(Answer(x, failed) for x, failed in ends for _ in range(7)), 0.5)


def test_what_fails_now_and_then_everywhere_has_no_threshold_that_could_have_moved():
    draws = random.Random(1)
    places = [*[0.0, 1.0] * 10, *[n / 20 for n in range(20)]]
    even = Searched(tuple(Answer(x, draws.random() < 0.3) for x in places), 0.5)
    assert not even.has_threshold
    assert bracket(0.4).has_threshold and Searched(even.answers[:0], 0.5).has_threshold
    assert Searched(tuple(Answer(x, True) for x in places), 0.5).has_threshold


def test_a_threshold_that_moved_is_told_from_one_that_did_not():
    moved = chance(bracket(0.7), bracket(0.6))
    assert moved.worse < 0.001 < 0.9 < moved.better
    assert 0.4 < chance(bracket(0.7), bracket(0.7)).worse < 0.6


def test_holm_stops_at_the_first_that_does_not_stand():
    assert holm([0.04, 0.001, 0.024]) == [True, True, True]
    assert holm([0.04, 0.001, 0.026]) == [False, True, False]


@pytest.mark.parametrize(
    ("was", "becomes", "complaint"),
    [
        ("kind: speed", "kind: sped", "'speed'"),
        ("begin_rpm", "begin_rmp", "'begin_rpm'"),
        ("at_least: 6000", "at_least: 60000", "where the search looks"),
        ("{from: 4000, to: 9000}", "{from: 10, to: 9000}", "asks for no sync"),
        ("rpm: 900\n    limits: {ms", "rpm: 900\n    trials: 3\n    limits: {ms", "no 95 %"),
        ("track: crank, width_us: 100", "track: crnk, width_us: 100", "'crank'"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_with_what_would_be_right(
    tmp_path, was, becomes, complaint
):
    text = DEMO.read_text()
    assert was in text
    for file in ("bench.yaml", "wheel.yaml"):
        (tmp_path / file).write_text((DEMO.parent / file).read_text())
    (tmp_path / "plan.yaml").write_text(text.replace(was, becomes, 1))
    with pytest.raises(FileError, match=complaint) as error:
        load_qualify(tmp_path / "plan.yaml")
    assert error.value.place.line


def test_without_a_plan_the_one_that_comes_along_is_named(capsys):
    assert main(["qualify"]) == 2
    assert "edgewheel qualify frost-fan" in capsys.readouterr().err


def test_a_shipped_plan_is_found_by_its_bare_name_from_anywhere(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["qualify", "frost-fan", "--dry-run"]) == 0
    assert "highest_up" in capsys.readouterr().out
    assert names() == ("frost-fan",)
    for file in DEMO.parent.glob("*.yaml"):
        (tmp_path / file.name.replace("frost-fan", "mine")).write_text(file.read_text())
    assert main(["qualify", "mine", "--dry-run"]) == 0
    assert "highest_up" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("named", "says"),
    [
        ("frost-fam", "only frost-fan. Is 'frost-fan' meant?"),
        ("folder", "is a folder. Name a plan in it: folder/frost-fan.yaml, "),
        ("empty", "no plan of tests lies in it"),
        ("folder/bench.yaml", "write a plan that names it: 'bench: bench.yaml'"),
        ("folder/lonely.yaml", "lonely.yaml:3: bench: there is no bench file folder/gone.yaml"),
        ("folder/none.yaml", "none.yaml:4: tests: no test stands here"),
        ("bytes", "bytes: the file is not text"),
    ],
)
def test_what_is_no_plan_is_answered_with_what_would_be_one(
    tmp_path, monkeypatch, capsys, named, says
):
    monkeypatch.chdir(tmp_path)
    shutil.copytree(DEMO.parent, "folder")
    (tmp_path / "empty").mkdir()
    (tmp_path / "bytes").write_bytes(b"\xff\xfe\0")
    head = "format: 1\nname: x\nbench: gone.yaml\ntests: {}\n"
    (tmp_path / "folder/lonely.yaml").write_text(head)
    (tmp_path / "folder/none.yaml").write_text(head.replace("gone", "bench"))
    assert main(["qualify", named]) == 2
    assert says.lower() in capsys.readouterr().err.lower()
    assert not (tmp_path / "runs").exists()


def test_a_test_that_the_controller_gives_nothing_for_is_an_error(tmp_path, capsys):
    for file in ("bench.yaml", "wheel.yaml", DEMO.name):
        text = (DEMO.parent / file).read_text()
        (tmp_path / file).write_text(text.replace("    ignition: {", "    ignition: null #"))
    plan = str(tmp_path / DEMO.name)
    runs = ["--runs", str(tmp_path / "runs")]
    assert main(["qualify", plan, "--only", "stop_in_dwell", *runs]) == 3
    assert "Not possible: no coil" in capsys.readouterr().err
    (log,) = (tmp_path / "runs").glob("*/run.log")
    assert "crank and cam inputs: error. 2 error." in log.read_text()


def test_a_suite_that_was_stopped_goes_on_to_the_same_end(tmp_path):
    file = short_plan(tmp_path)
    plan = load_qualify(file)
    tests = only(plan, ["stall"])
    whole = play(file, tmp_path / "whole", ["stall"])
    with pytest.raises(SearchStopped), Player(plan, tmp_path / "cut") as player:
        suite = Qualification(player, tests, "short")
        for step, _ in enumerate(suite.items()):
            if step == 4:
                player.stop()
    assert not (player.folder / "summary.json").exists()
    with Player(plan, tmp_path / "cut", resume=player.folder) as player:
        suite = Qualification(player, tests, "short")
        list(suite.items())
    assert suite.summary()["tests"] == whole.summary["tests"]


def test_measures_are_titled_in_words_with_their_unit():
    plan = load_qualify(DEMO)
    titles = [test.title_of(measure) for test in plan.tests for measure in test.bounds]
    assert "Timing over speed: angle error (degrees)" in titles
    assert "Start from all angles: starts that find sync (%)" in titles
    assert "Stop in mid-dwell: time to coil off (ms)" in titles
    assert len(set(titles)) == len(titles)
    assert not [title for title in titles if "_" in title]


def test_a_lost_bench_makes_errors_of_every_measure_under_its_own_title(tmp_path, monkeypatch):
    def lost(*_):
        raise BenchError("the cable is off")

    plan = load_qualify(DEMO)
    (test,) = only(plan, ["timing"])
    monkeypatch.setattr(Player, "play", lost)
    with Player(plan, tmp_path) as player:
        suite = Qualification(player, [test], "")
        list(suite.items())
    assert {outcome.grade for outcome in suite.outcomes} == {Grade.ERROR}
    titles = [outcome.title for outcome in suite.outcomes]
    assert titles == [test.title_of(measure) for measure in test.bounds]


def test_a_test_played_into_a_finished_suite_leaves_the_others_there(tmp_path):
    file, runs = short_plan(tmp_path), tmp_path / "runs"
    before = play(file, runs, ["stall"])
    assert before.summary["repeat"] == "edgewheel qualify short --only stall"
    after = play(file, runs, ["polarity"], before.folder)
    assert after.folder == before.folder
    assert [test["name"] for test in after.summary["tests"]] == ["polarity", "stall"]
    assert after.summary["tests"][1:] == before.summary["tests"]
    assert after.summary["engine_seconds"] > before.summary["engine_seconds"]


def test_what_a_lost_bench_left_and_what_was_compared_stay_when_a_suite_goes_on(
    tmp_path, monkeypatch
):
    plan = load_qualify(short_plan(tmp_path))
    stall, polarity = only(plan, ["stall"]), only(plan, ["polarity"])
    play_one = Player.play

    def lost(player, test, number, *rest):
        if number == 4:
            raise BenchError("the cable is off")
        return play_one(player, test, number, *rest)

    monkeypatch.setattr(Player, "play", lost)
    with Player(plan, tmp_path) as player:
        suite = Qualification(player, stall, "short")
        list(suite.items())
        player.finish(suite.summary({"folder": "older", "worse": []}))
    monkeypatch.undo()
    with Player(plan, tmp_path, resume=player.folder) as player:
        suite = Qualification(player, polarity, "short")
        list(suite.items())
    grades = {outcome.name: outcome.grade for outcome in suite.outcomes}
    assert grades == {"polarity": Grade.PASSED, "stall": Grade.ERROR}
    assert suite.outcomes[1].sentence == "The bench was lost: the cable is off"
    assert suite.summary()["against"]["folder"] == "older"
