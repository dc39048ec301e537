"""Diagnose against settings that are known to be wrong."""

import json
import sqlite3
from dataclasses import replace
from statistics import median

import pytest

from edgewheel.bench.loader import read_plan
from edgewheel.bench.plan import Plan
from edgewheel.bench.search_record import SearchRecord
from edgewheel.search.diagnose import Diagnose, Diagnosis, scene_of
from edgewheel.search.diagnosing import Player
from edgewheel.search.look import Look, Stage, look
from edgewheel.search.trials import SearchStopped
from edgewheel.search.variant import Variant, crank_pattern, sensed_wheel, varied
from edgewheel.yamlfile import Node, parse
from wrong_settings import CASES, SIXTY, THIRTY_SIX, Case


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "bench.yaml"
    path.write_text("format: 1\n")
    return path


def planned(case: Case, file, more: str = "") -> Plan:
    document = parse(case.bench + more, str(file))
    for address, text in case.wrong.items():
        document = with_value(document, ["controller", "settings", *address.split(".")], text)
    return read_plan(document, file)


def with_value(node: Node, steps: list[str], text: str) -> Node:
    """The tree with a value set that may not have stood there; lists too."""
    if not steps:
        return parse(text, "setting")
    nodes = node.section().nodes
    child = nodes.get(steps[0], Node(node.place, {}))
    return replace(node, content={**nodes, steps[0]: with_value(child, steps[1:], text)})


def diagnosed(plan: Plan) -> Diagnosis:
    diagnose = Diagnose(plan, Player(plan))
    for _ in diagnose.steps():
        pass
    assert diagnose.diagnosis is not None
    return diagnose.diagnosis


def named(diagnosis: Diagnosis) -> set[str]:
    return {setting for finding in diagnosis.findings for setting in finding.settings}


FOUND: dict[str, Diagnosis] = {}


def found(name: str, file) -> Diagnosis:
    """The diagnosis of a case, made once."""
    if name not in FOUND:
        FOUND[name] = diagnosed(planned(CASES[name], file))
    return FOUND[name]


@pytest.mark.parametrize("name", CASES)
def test_the_wrong_setting_is_named_and_no_other(file, name):
    diagnosis = found(name, file)
    assert diagnosis.complete
    assert named(diagnosis) == set(CASES[name].names)


@pytest.mark.slow
def test_without_a_word_from_the_controller_it_takes_longer_and_names_nothing_false(file):
    """Of 30 cases 27 must be named; a rare wheel among all that could be is not found blindly."""
    right, tries = 0, []
    for case in CASES.values():
        diagnosis = diagnosed(planned(case, file, "signals: {reason: silent}\n"))
        tries.append(diagnosis.tries)
        assert named(diagnosis) <= set(case.names)
        right += diagnosis.complete and named(diagnosis) == set(case.names)
    assert right >= 27
    assert median(tries) < 12


def test_the_median_of_tries_is_below_12(file):
    assert median(found(name, file).tries for name in CASES) < 12


@pytest.mark.parametrize("bench", [SIXTY, THIRTY_SIX])
def test_right_settings_are_left_alone_after_one_try(file, bench):
    diagnosis = diagnosed(planned(Case(bench, {}), file))
    assert (diagnosis.complete, diagnosis.findings, diagnosis.tries) == (True, (), 1)


@pytest.mark.slow
def test_what_no_signal_shows_is_not_named(file):
    diagnosis = diagnosed(planned(Case(SIXTY, {"sync.teeth_wanted": "70"}), file))
    assert not diagnosis.complete
    assert diagnosis.findings == ()


def test_a_fault_in_the_bench_file_is_told_from_a_wrong_setting(file):
    bounce = (
        "faults: {worn: {kind: bounce, track: crank, after: rise, delay_us: 400, width_us: 4}}\n"
    )
    diagnosis = diagnosed(planned(Case(SIXTY, {}), file, bounce))
    assert named(diagnosis) == {"input filter or blanking"}


def test_the_reference_angle_comes_with_its_amount_and_sign(file):
    late = diagnosed(planned(Case(SIXTY, {"engine.tdc_after_reference_deg": "96"}), file))
    early = diagnosed(planned(Case(SIXTY, {"engine.tdc_after_reference_deg": "79"}), file))
    assert "12.0 crank degrees earlier" in late.findings[0].remedy
    assert "5.0 crank degrees later" in early.findings[0].remedy


def seen(stage: Stage) -> Look:
    return Look(stage, 1.0, {}, False, "")


def test_a_change_that_helped_but_was_not_needed_is_not_named(file):
    """This one knows the crank with a longer gap, but all it needs is the other cam polarity."""

    def play(variant: Variant, what: str) -> Look:
        if "cam" in variant.turned_over:
            return seen(Stage.RIGHT)
        return seen(Stage.PARTLY if variant.gap_ratio else Stage.NOTHING)

    diagnose = Diagnose(planned(Case(SIXTY, {}), file), play)
    meanings = [step.meaning for step in diagnose.steps()]
    assert meanings[-1] == "so that is not needed"
    assert named(diagnose.diagnosis) == {"cam edge or polarity"}


def test_it_looks_at_nothing_but_what_the_bench_sees(file):
    plan = planned(CASES["missing teeth"], file)
    player = Player(plan)
    blind = replace(plan, controller=None)
    diagnose = Diagnose(blind, player)
    for _ in diagnose.steps():
        pass
    assert named(diagnose.diagnosis) == {"missing teeth"}


def test_every_try_is_on_record_and_a_stop_is_clean(file, tmp_path):
    plan = planned(CASES["gap limits too low"], file)
    with SearchRecord(tmp_path / "record") as record:
        player = Player(plan, record)
        with pytest.raises(SearchStopped):
            for step in Diagnose(plan, player).steps():
                if step.number == 3:
                    player.stop()
    rows = list(
        sqlite3.connect(tmp_path / "record" / "run.sqlite").execute(
            "SELECT setting, detail, reason FROM trial"
        )
    )
    assert len(rows) == 3
    assert json.loads(rows[1][0])["gap_ratio"] == "15/4"
    assert json.loads(rows[0][1])["stage"] == Stage.NOTHING.name
    assert rows[0][2].startswith("no gap in")


def test_a_stopped_diagnosis_goes_on_where_it_was_and_ends_the_same(file, tmp_path, monkeypatch):
    plan = planned(CASES["gap limits too low"], file)
    whole = diagnosed(plan)
    with SearchRecord(tmp_path / "record") as record:
        player = Player(plan, record)
        with pytest.raises(SearchStopped):
            for step in Diagnose(plan, player).steps():
                if step.number == 2:
                    player.stop()
    played = []
    monkeypatch.setattr(
        "edgewheel.search.diagnosing.look", lambda rig, plan: played.append(plan) or look(rig, plan)
    )
    with SearchRecord(tmp_path / "record") as record:
        diagnose = Diagnose(plan, Player(plan, record))
        for _ in diagnose.steps():
            pass
        assert len(record.trials()) == whole.tries
    assert diagnose.diagnosis == whole
    assert len(played) == whole.tries - 2


def test_another_speed_is_played_and_the_names_stay(file):
    plan = planned(CASES["missing teeth"], file)
    played = []
    player = Player(plan)

    def play(variant: Variant, what: str) -> Look:
        played.append(variant.rpm)
        return player(variant, what)

    diagnose = Diagnose(plan, play, 2500)
    for _ in diagnose.steps():
        pass
    assert named(diagnose.diagnosis) == {"missing teeth"}
    assert set(played) <= {2500, 250, 3000} and played[0] == 2500


def teeth_of(plan: Plan, variant: Variant):
    return varied(plan, variant, 0).wheel.tracks[0].teeth


def test_variants_change_what_they_say_and_nothing_else(file):
    plan = planned(Case(SIXTY, {}), file)
    sound = teeth_of(plan, Variant())
    longer = teeth_of(plan, Variant(gap_ratio=4))
    assert longer[:-1] == sound[:-1]
    begins = [tooth.begin for tooth in longer]
    assert (360 - begins[-1]) / (begins[-1] - begins[-2]) == 4
    late = teeth_of(plan, Variant(second_later=0.5))
    assert [b.begin - a.begin for a, b in zip(sound, late, strict=True)] == [0, 3] + [0] * 56
    other = teeth_of(plan, Variant(pitches=36, missing=1))
    assert (len(other), other[0].begin, other[1].begin) == (35, 0, 10)
    cam = varied(plan, Variant(cam_later_deg=30), 0).wheel.tracks[1]
    assert cam.teeth[0].begin == 20 + 15
    flipped = varied(plan, Variant().turn_over("cam"), 0).wheel
    assert [track.sensor.metal for track in flipped.tracks] == ["high", "high"]
    crossed = varied(plan, Variant(exchanged=True), 0).wheel
    assert [(track.name, len(track.teeth)) for track in crossed.tracks] == [
        ("crank", 1),
        ("cam", 58),
    ]


def test_the_pattern_of_a_wheel_is_read_from_its_teeth(file):
    sixty = scene_of(planned(Case(SIXTY, {}), file))
    assert (sixty.pattern.pitches, sixty.pattern.missing, sixty.pattern.regular) == (60, 2, True)
    assert (sixty.crank, sixty.cam, sixty.hall) == ("crank", "cam", True)
    thirty_six = sensed_wheel(planned(Case(THIRTY_SIX, {}), file))
    assert thirty_six.tracks[0].sensor.kind == "hall"
    assert crank_pattern(thirty_six.tracks[0]).missing == 1
