"""Teeth that stand wrong: which, by how much, how steadily, and as a fault in a bench file."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
import yaml

from captures import MOTIONS, capture_of, spoilt, table
from edgewheel.bench.loader import load_plan
from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import wheel_levels
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.fault.metal import BentTooth
from edgewheel.fault.signal import signal_of
from edgewheel.learn.benchfile import bench_text, faults, faults_text, speed_table
from edgewheel.learn.learn import learn
from edgewheel.learn.wording import deviation_words, report
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import ramp
from edgewheel.wheel.library import find
from edgewheel.yamlfile import load, parse

WHEEL = "60-minus-2-half-moon-cam"


def bent(name: str, motion: str, tooth: int, by_deg: str):
    wheel = find(name)
    fault = BentTooth("crank", (tooth,), Fraction(by_deg))
    sensors = tuple(track.sensor for track in wheel.tracks)
    signal = signal_of(wheel, sensors, MOTIONS[motion], {"bent": fault})
    compiler = EdgeCompiler(signal.levels, signal.motion, 1_000_000)
    return compiler.header(), join(*compiler.chunks())


@pytest.mark.parametrize("motion", MOTIONS)
def test_a_bent_tooth_is_found_under_every_motion(motion):
    learned = learn(capture_of(*bent(WHEEL, motion, 17, "0.8")))
    (found,) = learned.best.deviations
    assert (found.track, found.tooth) == ("crank", 17)
    assert found.deviation.degrees == pytest.approx(0.8, abs=0.03)
    assert found.deviation.steady
    assert "crank tooth 17 late by 0.8" in deviation_words(found)
    assert "on every turn" in deviation_words(found)
    assert learned.best.in_library


@pytest.mark.parametrize(("tooth", "by_deg"), [(1, "-0.6"), (58, "0.5"), (33, "1.2")])
def test_its_number_and_its_sign_are_those_of_the_wheel_file(tooth, by_deg):
    learned = learn(capture_of(*bent(WHEEL, "steady", tooth, by_deg)))
    (found,) = learned.best.deviations
    assert found.tooth == tooth
    assert found.deviation.degrees == pytest.approx(float(by_deg), abs=0.05)


def test_a_vr_sensor_shows_it_as_well():
    learned = learn(capture_of(*bent("60-minus-2", "up", 20, "0.8")))
    assert learned.best.deviations[0].tooth == 20
    assert learned.best.deviations[0].deviation.degrees == pytest.approx(0.8, abs=0.1)


def test_it_is_found_in_jitter_and_dropouts():
    header, edges = bent(WHEEL, "up", 17, "0.8")
    learned = learn(capture_of(header, spoilt(header, edges, seed=5)))
    assert [one.tooth for one in learned.best.deviations] == [17]


def test_a_tooth_that_is_late_now_and_then_is_said_to_be():
    header, edges = table(WHEEL, "steady")
    rises = np.flatnonzero((edges.track == 0) & (edges.level == 1))
    some = rises[(np.arange(len(rises)) % 58 == 30) & (np.arange(len(rises)) // 58 % 4 != 0)]
    ticks = edges.ticks.copy()
    for edge in some:
        fall = edge + 1 + int(edges.track[edge + 1] != 0)
        ticks[[edge, fall]] += 133  # 0.8 degrees at 1,000 rpm
    order = np.argsort(ticks, kind="stable")
    learned = learn(
        capture_of(header, EdgeChunk(ticks[order], edges.track[order], edges.level[order]))
    )
    (found,) = learned.best.deviations
    assert found.deviation.turns == pytest.approx(0.75 * found.deviation.of_turns, abs=2)
    assert f"on {found.deviation.turns} of {found.deviation.of_turns} turns" in deviation_words(
        found
    )


def test_it_is_offered_as_a_fault_that_a_bench_file_takes(tmp_path):
    learned = learn(capture_of(*bent(WHEEL, "up", 17, "0.8"), "log.csv"))
    assert faults(learned) == {
        "crank_tooth_17": {
            "kind": "bent_tooth", "track": "crank", "teeth": [17],
            "by_deg": pytest.approx(0.8, abs=0.03),
        }
    }  # fmt: skip
    assert "bent_tooth" in faults_text(learned)
    like = tmp_path / "like.yaml"
    like.write_text(
        "format: 1\nname: Fan 3\nwheel: 36-minus-1\n"
        "controller: {kind: sim, settings: {crank: {line: crank, edge: rising}, "
        "wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2, "
        "gap_ratio_high: 4}, "
        "engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}}}\n"
    )
    assert speed_table(learned).startswith("time,rpm\n0.000000,")
    bench = tmp_path / "bench.yaml"
    bench.write_text(bench_text(learned, load(like), WHEEL, in_library=True))
    plan = load_plan(bench)
    assert plan.name == "Fan 3, as in log.csv"
    assert plan.signal.faults["crank_tooth_17"].teeth == (17,)
    assert float(plan.signal.motion.end_s) == pytest.approx(1.5, abs=0.02)
    assert len(plan.signal.motion) == 1


@pytest.mark.parametrize("in_library", [True, False])
def test_columns_may_have_other_names_than_the_tracks_of_the_library(tmp_path, in_library):
    header, edges = bent(WHEEL, "up", 17, "0.8")
    header = replace(header, tracks=("kurbelwelle", "nocke"))
    learned = learn(capture_of(header, edges, "log.csv"))
    like = "{name: Fan 3, controller: {settings: {crank: {line: crank}, cam: {line: cam}}}}"
    text = bench_text(learned, parse(like, "like.yaml"), "some wheel", in_library)
    bench = yaml.safe_load(text)
    crank, cam = ("crank", "cam") if in_library else header.tracks
    assert bench["controller"]["settings"] == {"crank": {"line": crank}, "cam": {"line": cam}}
    (fault,) = bench["faults"].values()
    assert (fault["track"], fault["teeth"]) == (crank, [17])


def test_a_sound_wheel_has_none_however_short_the_capture():
    """Of four repeats two are looked at, which must not be taken for no scatter at all."""
    motion = Motion([ramp(Fraction(4000), Fraction(900), turns=Fraction(8))])
    compiler = EdgeCompiler(wheel_levels(find(WHEEL)), motion, 1_000_000)
    header, edges = compiler.header(), join(*compiler.chunks())
    for seed in range(2):
        short = spoilt(header, edges, seed=seed, jitter=0.005)
        assert learn(capture_of(header, short)).best.deviations == ()
    learned = learn(capture_of(*table(WHEEL, "cranking")))
    assert learned.best.deviations == ()
    assert faults_text(learned) == ""
    assert any("sure" in line for line in report(learned))
