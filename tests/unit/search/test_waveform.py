"""The signal around a loss: which edges the controller misread, and which it did not."""

import json

import numpy as np
import pytest

from edgewheel.bench.loader import load_plan
from edgewheel.edges.table import join
from edgewheel.fault.pipeline import Pipeline
from edgewheel.search.recorded import RecordedRun
from edgewheel.search.waveform import (
    EXTRA,
    MISSED,
    OVERRUN,
    Counts,
    misread,
    waveform_around,
)
from records import bench_file, made_by

RAMP = """\
motion:
  segments:
    - {hold: 4000, seconds: 0.1}
    - {ramp: 6100, rate: 40000}
    - {hold: 6100, seconds: 0.05}
"""
PITCH = 1000
WANTED = np.arange(100) * PITCH
NONE = np.empty(0, np.int64)


def reasons(counted, lost=NONE):
    marks = misread("crank", WANTED, Counts(np.sort(counted), lost), tick_hz=PITCH)
    return {round(mark.seconds): mark.why for mark in marks}


def test_what_is_counted_as_it_should_is_not_marked():
    assert reasons(WANTED) == {}
    assert reasons(WANTED + 130) == {}  # a constant delay, as of a filter, is no misreading


def test_an_edge_more_one_less_and_one_late():
    assert reasons(np.append(WANTED, 40_400)) == {40: EXTRA}
    assert reasons(np.delete(WANTED, 7)) == {7: MISSED}
    moved = WANTED.copy()
    moved[50] += 100
    assert reasons(moved) == {50: "was counted 10% of a tooth period late"}
    moved[50] -= 200
    assert reasons(moved) == {50: "was counted 10% of a tooth period early"}


def test_two_counts_of_one_edge_are_one_too_many():
    assert reasons(np.append(WANTED, 12_100)) == {12: EXTRA}


def test_an_edge_lost_while_the_controller_was_busy():
    assert reasons(np.delete(WANTED, 7), np.array([7010])) == {7: OVERRUN}


def test_the_bounces_that_made_a_run_fail_are_marked(tmp_path):
    run = RecordedRun(made_by(tmp_path, "run", str(bench_file(tmp_path, motion=RAMP))))
    lost = next(found for found in run.findings() if found.kind == "lost")
    shown = waveform_around(run.plan, lost.seconds, lost.reason)
    json.dumps(shown, allow_nan=False)
    assert shown["begin"] < lost.seconds <= shown["end"]
    assert {mark["why"] for mark in shown["marked"]} == {EXTRA}
    sound, played = shown["sound"][0], shown["tracks"][0]
    assert [track["name"] for track in shown["tracks"]] == ["crank", "cam"]
    # The bounce comes 30 us after the rising edge, lasts 4, and is counted when it ends.
    rises = np.array(sound["edges"])[np.arange(len(sound["edges"])) % 2 == sound["initial"]]
    first = shown["marked"][0]["seconds"]
    assert np.min(np.abs(rises + 34e-6 - first)) < 15e-6
    assert len(played["edges"]) > 1.8 * len(sound["edges"])


@pytest.mark.parametrize("seconds", [0.01, 0.6, 0.6001, 0.613, 0.9])
def test_levels_and_edges_are_those_of_the_table(tmp_path, seconds):
    plan = load_plan(
        bench_file(tmp_path, motion="motion: {segments: [{hold: 2000, seconds: 1}]}\n")
    )
    shown = waveform_around(plan, seconds)
    pipeline = Pipeline(plan.signal, plan.board.tick_hz)
    edges = join(*pipeline.edges())
    for number, track in enumerate(shown["tracks"]):
        own = edges[edges.track == number]
        moments = own.ticks / plan.board.tick_hz
        before = own.level[moments < shown["begin"]]
        assert track["initial"] == (before[-1] if len(before) else pipeline.header.initial[number])
        inside = (moments >= shown["begin"]) & (moments < shown["end"])
        assert track["edges"] == pytest.approx(moments[inside].tolist(), abs=1e-9)


def test_a_sound_run_has_nothing_to_mark(tmp_path):
    file = bench_file(tmp_path, motion=RAMP)
    file.write_text(file.read_text().replace("kind: bounce,", "kind: bounce, off: true,"))
    shown = waveform_around(load_plan(file), 0.1)
    assert shown["marked"] == []
    assert shown["counted"]


def test_of_a_real_controller_the_changed_edges_are_marked(tmp_path):
    file = bench_file(tmp_path, motion=RAMP)
    text = file.read_text()
    head, tail = text.index("controller:"), text.index("faults:")
    real = "board: /dev/none\ncontroller: {kind: serial, port: /dev/none2}\n"
    file.write_text(text[:head] + real + text[tail:])
    shown = waveform_around(load_plan(file), 0.1)
    assert shown["counted"] is None
    assert {mark["why"] for mark in shown["marked"]} == {"is not in the sound signal"}
    rises = len(shown["sound"][0]["edges"]) / 2
    assert len(shown["marked"]) == pytest.approx(2 * rises, abs=3)
