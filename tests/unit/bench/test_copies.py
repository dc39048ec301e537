"""A run folder holds every file that decided the run, and plays again from them alone."""

import shutil

import pytest

from edgewheel.bench.loader import load_plan
from edgewheel.bench.rerun import plan_of_run
from edgewheel.bench.runner import Runner
from edgewheel.errors import UsageError
from edgewheel.search.qualify.reading import load_qualify
from edgewheel.wheel.library import locate as wheel_file
from mock_bench import mock_desk
from qualify_suite import play, short_plan

BENCH = """
format: 1
name: Fan
wheel: ../wheels/fan.yaml
controller: {kind: sim, settings: ../controllers/fan.yaml}
motion: ../motions/fan.yaml
"""
SETTINGS = """
crank: {line: crank}
cam: {line: cam}
wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2, gap_ratio_high: 4}
phase: {by: level, level: high}
engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}
"""
MOTION = "{format: 1, segments: [{repeat: 2, segments: [{table: tables/fan.csv}]}]}"


@pytest.fixture
def project(tmp_path):
    """Every file of a bench in a folder of its own, and all of one name."""
    for folder in ("benches", "wheels", "controllers", "motions/tables"):
        (tmp_path / folder).mkdir(parents=True)
    shutil.copy(wheel_file("60-minus-2-half-moon-cam"), tmp_path / "wheels/fan.yaml")
    (tmp_path / "controllers/fan.yaml").write_text(SETTINGS)
    (tmp_path / "motions/fan.yaml").write_text(MOTION)
    (tmp_path / "motions/tables/fan.csv").write_text("time,rpm\n0,900\n0.2,1000\n0.3,900\n")
    (tmp_path / "benches/fan.yaml").write_text(BENCH)
    return tmp_path


def test_a_run_folder_plays_again_without_the_files_that_made_it(project):
    plan = load_plan(project / "benches/fan.yaml")
    runner = Runner(plan, project / "runs")
    assert list(runner.events())
    for folder in ("wheels", "controllers", "motions"):
        shutil.rmtree(project / folder)
    bench = runner.folder / "fan.yaml"
    assert bench.read_text() == BENCH
    on_the_desk = mock_desk(bench, project / "runs").plan
    for again in (plan_of_run(runner.folder, "fan.yaml"), load_plan(bench), on_the_desk):
        assert (again.wheel, again.controller) == (plan.wheel, plan.controller)
        motions = [[m[n] for n in range(len(m))] for m in (again.signal.motion, plan.signal.motion)]
        assert motions[0] == motions[1]


def test_two_tables_of_one_name_are_refused(project):
    (project / "motions/fan.csv").write_text("time,rpm\n0,900\n0.2,1000\n")
    both = "{format: 1, segments: [{table: tables/fan.csv}, {table: fan.csv}]}"
    (project / "motions/fan.yaml").write_text(both)
    with pytest.raises(UsageError, match="another name"):
        load_plan(project / "benches/fan.yaml")


def test_a_suite_keeps_its_plan_beside_a_bench_file_of_the_same_name(tmp_path):
    bench = short_plan(tmp_path / "benches", "benches/release.yaml")
    bench.with_name("bench.yaml").rename(bench.with_name("release.yaml"))
    plan = bench.rename(tmp_path / "release.yaml")
    folder = play(plan, tmp_path / "runs", ["polarity"]).folder
    shutil.rmtree(tmp_path / "benches")
    again = load_qualify(folder / "plan-release.yaml")
    assert again.bench.plan.name == "Frost fan controller, release bench"
    assert [test.name for test in again.tests] == ["polarity", "stall"]
