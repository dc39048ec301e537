"""The pytest plugin in pytest itself: what fails, what errs, what is skipped, what is noted."""

import json
import shlex
import subprocess
import sys
from pathlib import Path
from textwrap import dedent
from xml.etree import ElementTree

import pytest

from edgewheel.pytest_plugin import playing  # pytester lets nobody import numpy anew
from edgewheel.pytest_plugin.choices import OPTIONS
from edgewheel.search.qualify.reading import load_qualify
from edgewheel.search.recorded import RecordedRun

pytest_plugins = ["pytester"]

BENCH = """
format: 1
name: Fan
wheel: 36-minus-1
controller:
  kind: sim
  settings:
    crank: {line: crank, edge: rising}
    wheel: {kind: missing_teeth, pitches: 36, missing: 1, gap_ratio_low: 1.5, gap_ratio_high: 3}
    phase: {by: none}
    engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 80}
    ignition: {coils: pairs}
signals: {sync: {field: sync, synced: [crank]}}
motion: {segments: [{hold: 900, seconds: 0.4}]}
faults: {late: {off: true, kind: bent_tooth, track: crank, teeth: [9], by_deg: 4}}
limits: {sync_within_s: 0.3, silence_ms: 500, speed_error_percent: 5, speed_error_ms: 50}
sweep: {from: 900, to: 1500, step: 600, rate: 8000, settle: 0.05, hold: 0.1}
"""
REAL = "controller: {kind: serial, port: /dev/no-such-port}\n"
LOST = """
import pytest
from edgewheel.bench.rig import Rig
from edgewheel.errors import BenchError

@pytest.fixture(autouse=True)
def cable_cut(monkeypatch):
    def run(self, plan):
        raise BenchError("The board no longer answers.")
        yield
    monkeypatch.setattr(Rig, "run", run)
"""


@pytest.fixture
def alone(pytester, monkeypatch):
    """pytest with this plugin and no other that happens to be installed."""
    monkeypatch.setenv("PYTEST_DISABLE_PLUGIN_AUTOLOAD", "1")
    monkeypatch.setenv("PYTEST_ADDOPTS", "-p edgewheel.pytest_plugin")
    return pytester


@pytest.fixture
def repository(alone):
    """A folder with a bench file and pytest's settings, as a user has it."""
    pytester = alone
    pytester.makeini("[pytest]\nedgewheel_bench = fan.yaml\naddopts = --strict-markers\n")
    (pytester.path / "fan.yaml").write_text(BENCH)
    return pytester


def test_a_controller_that_holds_passes_and_one_that_does_not_fails(repository):
    repository.makepyfile(
        """
        def test_sound(bench):
            assert bench.run().first_sync_s < 0.3

        def test_bent(bench):
            bench.set("faults.late.off", False).run()
        """
    )
    result = repository.runpytest()
    result.assert_outcomes(passed=1, failed=1)
    result.stdout.fnmatch_lines(["*ControllerFailed: *", "*Record: *"])


def test_each_point_of_a_sweep_is_a_subtest(repository):
    repository.makepyfile(
        """
        import pytest

        def test_sound(bench):
            assert bench.sweep().passed

        @pytest.mark.edgewheel(set={"limits.speed_error_percent": 1e-4})
        def test_hardly(bench):
            bench.sweep()
        """
    )
    result = repository.runpytest("-v")
    result.stdout.fnmatch_lines(
        ["*test_sound SUBPASSED?1500 rpm up?*", "*test_hardly SUBFAILED?900 rpm down?*"]
    )
    result.stdout.fnmatch_lines(["*2 failed, 1 passed, 5 subtests passed*"])


def test_a_lost_bench_is_an_error_whatever_was_expected(repository):
    repository.makeconftest(LOST)
    repository.makepyfile(
        """
        import pytest

        def test_run(bench):
            bench.run()

        @pytest.mark.xfail
        def test_expected(bench):
            bench.run()

        def test_inside(bench, subtests):
            with subtests.test("a point"):
                bench.run()

        def test_sweep(bench):
            bench.sweep()
        """
    )
    result = repository.runpytest("--junitxml=out.xml", "-rA")
    outcomes = result.parseoutcomes()
    assert not {"failed", "passed", "xfailed", "xpassed"} & set(outcomes)
    assert outcomes["errors"] == 5  # the subtest and its test
    result.stdout.fnmatch_lines(["*The bench was lost, so nothing is said about the controller.*"])
    suite = ElementTree.parse(repository.path / "out.xml").find("testsuite")
    assert (suite.get("failures"), suite.get("errors")) == ("0", "5")


def test_a_test_without_the_bench_keeps_its_failures(repository):
    repository.makepyfile(
        """
        from edgewheel.errors import UsageError

        def test_own():
            raise UsageError("one of their own")
        """
    )
    result = repository.runpytest()
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["*raise UsageError*"])


def test_a_file_that_cannot_be_used_is_an_error(repository):
    repository.makepyfile(
        """
        import pytest

        @pytest.mark.edgewheel(set={"limits.silence_sm": 3})
        def test_slip(bench):
            bench.run()

        def test_late(bench):
            bench.set("no.such.address", 3)
        """
    )
    result = repository.runpytest()
    result.assert_outcomes(errors=2)
    result.stdout.fnmatch_lines(["*This cannot be played.*silence*"])


def test_without_a_bench_file_it_is_said_how_to_name_one(alone):
    alone.makepyfile("def test_it(bench): bench.run()")
    result = alone.runpytest()
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*edgewheel_bench =*"])


MARKED = """
import pytest

@pytest.mark.edgewheel_board
def test_board(): pass

@pytest.mark.edgewheel_simulated
def test_simulated(): pass
"""


@pytest.mark.parametrize(
    ("words", "skipped"),
    [([], "needs a real board"), (["--edgewheel-board", "/dev/ttyX"], "simulated bench only")],
)
def test_what_the_board_cannot_show_is_skipped(repository, words, skipped):
    repository.makepyfile(MARKED)
    result = repository.runpytest("-rs", *words)
    result.assert_outcomes(passed=1, skipped=1)
    result.stdout.fnmatch_lines([f"*{skipped}*"])


def test_a_real_controller_waits_for_a_board_and_may_be_replaced(repository):
    sim = BENCH[BENCH.index("controller:") : BENCH.index("signals:")]
    (repository.path / "sim.yaml").write_text(sim)
    (repository.path / "fan.yaml").write_text(BENCH.replace(sim, REAL) + "board: auto\n")
    repository.makepyfile("def test_it(bench): bench.run()")
    result = repository.runpytest("-rs")
    result.assert_outcomes(skipped=1)
    result.stdout.fnmatch_lines(["*has a real controller: give --edgewheel-board*"])
    repository.runpytest("--edgewheel-controller=sim.yaml").assert_outcomes(passed=1)
    (repository.path / "models").mkdir()
    settings = dedent(sim[sim.index("settings:\n") + len("settings:\n") :])
    (repository.path / "models" / "settings.yaml").write_text(settings)
    (repository.path / "models" / "sim.yaml").write_text("{kind: sim, settings: settings.yaml}")
    repository.runpytest("--edgewheel-controller=models/sim.yaml").assert_outcomes(passed=1)
    lost = repository.runpytest("--edgewheel-board=/dev/no-such-board")
    lost.assert_outcomes(errors=1)
    lost.stdout.fnmatch_lines(["*The bench was lost*/dev/no-such-port*"])


def test_the_junit_file_says_what_was_played(repository):
    (repository.path / "tests").mkdir()
    (repository.path / "tests" / "other.yaml").write_text(BENCH.replace("name: Fan", "name: Two"))
    (repository.path / "tests" / "test_it.py").write_text(
        "import pytest\n"
        "@pytest.mark.edgewheel(bench='other.yaml', set={'limits.silence_ms': 400})\n"
        "def test_it(bench):\n"
        "    bench.run()\n"
        "    assert bench.plan.seed == 12\n"
    )
    runs = repository.path / "kept"
    words = ["--edgewheel-seed=12", f"--edgewheel-runs={runs}", "--junitxml=out.xml"]
    repository.runpytest(*words).assert_outcomes(passed=1)
    suite = ElementTree.parse(repository.path / "out.xml").find("testsuite")
    session = {one.get("name"): one.get("value") for one in suite.find("properties")}
    assert session["edgewheel.board"] == "sim" and session["edgewheel.runs"] == str(runs)
    test = {p.get("name"): p.get("value") for p in suite.find("testcase").find("properties")}
    assert test["edgewheel.bench"].endswith("tests/other.yaml")
    assert (test["edgewheel.seed"], test["edgewheel.set.limits.silence_ms"]) == ("12", "400")
    assert len(test["edgewheel.inputs.sha256"]) == 64
    (folder,) = runs.iterdir()
    assert "silence_ms: 400" in (folder / "other.yaml").read_text()
    assert str(folder) in test["edgewheel.run"]


def test_a_record_of_what_was_set_is_played_again_as_it_was(repository):
    """The folder holds the bench file as played, not as it was written."""
    repository.makepyfile(
        "def test_it(bench):\n    bench.set('motion.segments[0].hold', 600).run()\n"
    )
    repository.runpytest("--edgewheel-runs=kept").assert_outcomes(passed=1)
    (folder,) = (repository.path / "kept").iterdir()
    assert RecordedRun(folder).plan.signal.motion[0].segment.rpm_begin == 600


SUITE = """
format: 1
name: Release
bench: fan.yaml
tests:
  highest:
    kind: speed
    vary: {from: 1000, to: 3000, within_percent: 20, most_trials: 16}
    limits: {rpm: {at_least: 2000}}
"""


def test_a_suite_is_a_subtest_a_test_and_held_against_the_last_release(repository):
    """900 us for an edge are too many where a pitch of 10 degrees is shorter: above 1852 rpm."""
    (repository.path / "release.yaml").write_text(SUITE)
    bench = BENCH.replace("    crank: {", "    interrupts: {crank_cost_us: 4}\n    crank: {", 1)
    (repository.path / "fan.yaml").write_text(bench)
    repository.makepyfile("def test_it(bench): bench.qualify('release.yaml', 'highest')")
    result = repository.runpytest("-v", "--edgewheel-runs=kept")
    result.assert_outcomes(passed=1)
    result.stdout.fnmatch_lines(["*test_it SUBPASSED?highest?*"])
    (before,) = (repository.path / "kept").glob("*-release")
    (repository.path / "fan.yaml").write_text(bench.replace("cost_us: 4", "cost_us: 900"))
    result = repository.runpytest(f"--edgewheel-against={before}")
    result.stdout.fnmatch_lines(["*SUBFAILED?highest?*", "*SUBFAILED?highest against *"])


def test_a_suite_is_repeated_from_its_record_as_it_was_played(repository):
    """With the values and the seed that pytest was given, which stand in no file of its own."""
    (repository.path / "release.yaml").write_text(SUITE)
    repository.makepyfile(
        "def test_it(bench):\n"
        "    bench.set('limits.silence_ms', 400).qualify('release.yaml', 'highest')\n"
    )
    repository.runpytest("--edgewheel-runs=kept", "--edgewheel-seed=12")
    (folder,) = (repository.path / "kept").glob("*-release")
    summary = json.loads((folder / "summary.json").read_text())
    program, command, file, *only = shlex.split(summary["tests"][0]["repeat"])
    assert (program, command, only) == ("edgewheel", "qualify", ["--only", "highest"])
    plan = load_qualify(Path(file))
    assert (plan.seed, plan.bench.plan.limits.silence_ms) == (12, 400)


def test_a_suite_for_another_bench_is_refused(repository):
    (repository.path / "other.yaml").write_text(BENCH)
    (repository.path / "release.yaml").write_text(SUITE.replace("fan.yaml", "other.yaml"))
    repository.makepyfile("def test_it(bench): bench.qualify('release.yaml')")
    result = repository.runpytest()
    result.assert_outcomes(errors=1)
    result.stdout.fnmatch_lines(["*is a plan for *other.yaml*"])


def test_the_page_names_every_option_and_method():
    page = (Path(__file__).parents[3] / "host/docs/pytest.md").read_text()
    for name, _, _ in OPTIONS:
        assert f"--edgewheel-{name} " in page
    methods = [name for name in vars(playing.Bench) if not name.startswith("_")]
    for name in set(methods) - {"note_origin"}:
        assert f"bench.{name}" in page


def test_pytest_starts_without_the_heavy_parts():
    code = (
        "import sys, edgewheel.pytest_plugin as plugin\n"
        "print(sorted({'numpy', 'yaml', 'serial', 'sqlite3'} & set(sys.modules)), plugin.BENCH)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[] bench"
