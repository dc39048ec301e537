"""Searches and runs through the pages, on the simulated bench: small ones, played for real."""

import asyncio
import shlex
import sys
import threading
from pathlib import Path
from types import SimpleNamespace

import pytest

from console_kit import console, press, settle, text
from edgewheel.bench.live.state import FaultState
from edgewheel.bench.rig import Rig
from edgewheel.bench.runlog import PROMPT, append, last_command, stamped
from edgewheel.bench.search_record import FINGERPRINT, SearchRecord
from edgewheel.bench.verdict import VerdictListener
from edgewheel.cli.main import main
from edgewheel.console.fit import IDLE
from edgewheel.console.runs.listing import differences, records
from edgewheel.console.runs.told import cut_off
from edgewheel.console.search.job import Job, Running, Stage
from edgewheel.console.search.qualify_job import table
from edgewheel.search import trials
from edgewheel.search.recorded import RecordedRun
from edgewheel.search.trials import SearchStopped
from mock_bench import mock_desk

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))


def searched(folder, *keys, fault=None, size=(120, 40)):
    """The screen after a search that was begun by these keys has ended."""

    async def scenario():
        async with console(size, runs=folder) as (app, pilot):
            if fault:
                app.desk.fault(fault, FaultState.HELD)
            await press(app, pilot, "f3", *keys)
            assert app.running.over
            return text(app)

    return asyncio.run(scenario())


def fields(*texts):
    """The keys that write these texts into the fields of a dialogue, and begin."""
    keys = []
    for field in texts:
        keys += ["end", "ctrl+u", *field, "tab"]
    return [*keys, "enter"]


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A run folder in which two sweeps lie, and what the page showed of the second."""
    folder = tmp_path_factory.mktemp("runs")
    searched(folder, "s", *fields("800", "1200", "400"))
    return folder, searched(folder, "s", *fields("2000", "3000", "1000"), fault="bounce")


def test_a_sweep_says_where_sync_drops_and_draws_it(swept):
    seen = swept[1]
    assert "Sync held up to 2000 rpm and dropped on the way to 3000 rpm" in seen
    assert "✗ NO SYNC  lost at" in seen and "100%" in seen
    assert "○" in seen.split("100%")[1].split("2000 rpm")[0]


def test_runs_are_listed_read_compared_and_exported(swept):
    folder = swept[0]

    async def scenario():
        async with console((120, 40), runs=folder) as (app, pilot):
            seen = []
            for keys in (("f4",), ("enter",), ("c", "down", "c"), ("x",), ("up", "s")):
                await press(app, pilot, *keys)
                seen.append(text(app))
            return seen

    listed, read, compared, exported, drawn = asyncio.run(scenario())
    assert "✗ failed" in listed and "✓ passed" in listed
    assert "First bench: FAILED" in read
    assert "sweep.highest_rpm" in compared
    assert "Sync lost at" in drawn and "misread ▲" in " ".join(drawn.split())
    assert "Written:" in exported and list(folder.glob("*/run.csv"))


def test_a_record_keeps_the_bench_file_as_it_lay_on_the_desk(swept):
    newest, oldest = (one.folder for one in records(swept[0]))
    assert "off: false" in (newest / "first-bench.yaml").read_text(encoding="utf-8")
    assert "bounce" not in (oldest / "first-bench.yaml").read_text(encoding="utf-8")
    assert ("sweep.dropped_rpm", "3000.0", "None") in differences(newest, oldest)
    played = RecordedRun(newest).plan
    assert (played.sweep.low_rpm, played.sweep.high_rpm) == (2000, 3000)
    assert played.signal.motion.end_s > RecordedRun(oldest).plan.signal.motion.end_s > 0


def test_a_threshold_asks_for_the_number_of_the_fault_that_is_held(tmp_path):
    async def scenario():
        async with console((120, 40), runs=tmp_path) as (app, pilot):
            app.desk.fault("bounce", FaultState.HELD)
            await press(app, pilot, "f3", "t")
            return text(app)

    seen = asyncio.run(scenario())
    assert "faults.bounce.delay_us" in seen and "200" in seen


def test_what_cannot_be_searched_is_refused_in_the_dialogue(tmp_path):
    async def scenario():
        async with console((120, 40), runs=tmp_path) as (app, pilot):
            await press(app, pilot, "f3", "s", *fields("3000", "2000", "500"))
            assert app.running is None
            return text(app)

    assert "Sweep upwards" in asyncio.run(scenario())


class Endless(Job):
    """A search that goes on until it is stopped."""

    name, folder = "Endless", Path("endless")

    def __init__(self):
        self._over = threading.Event()

    def stages(self):
        yield Stage(0.5, "trial 1", ("trial 1",))
        self._over.wait(20)
        raise SearchStopped

    def stop(self):
        self._over.set()


def test_a_search_has_the_bench_until_f8_stops_it(tmp_path):
    async def scenario():
        async with console((120, 40), runs=tmp_path) as (app, pilot):
            await pilot.press("h", "f3")
            await pilot.pause()
            app.begin(Endless())
            await pilot.press("f5")
            app.look()
            await pilot.pause()
            assert "▶ A SEARCH HAS IT" in text(app) and "Endless 50%" in text(app)
            assert "faults bounce HELD" in text(app) and "not on the pins" not in text(app)
            assert [order[0] for order in app.desk.player.orders].count("start") == 0
            app.running.job.plays_desk = False
            app.look()
            await pilot.pause()
            assert "faults bounce HELD, not on the pins" in text(app)
            await press(app, pilot, "f8")
            return text(app)

    assert "stopped; what was played is in the record" in asyncio.run(scenario())


def test_a_stopped_search_goes_on_from_its_last_trial(tmp_path, monkeypatch):
    third, stopped, played, typed = threading.Event(), threading.Event(), [], []
    judge = trials.judge

    def held_up(rig, plan):
        played.append(plan)
        if len(played) != 3:
            return judge(rig, plan)
        third.set()
        assert stopped.wait(10)
        return None

    monkeypatch.setattr(trials, "judge", held_up)

    async def scenario():
        async with console((120, 40), runs=tmp_path) as (app, pilot):
            await pilot.press("f3", "t", *fields("speed", "500", "7000"))
            await asyncio.to_thread(third.wait, 10)
            await pilot.press("f8")
            stopped.set()
            await settle(app, pilot)
            assert "stopped; what was played is in the record · r goes on" in text(app)
            first = app.running.stage.lines
            await press(app, pilot, "f4")
            await press(app, pilot, "enter")
            assert "search     · unfinished" in text(app) and "2 trials are on record" in text(app)
            typed.append(last_command(app.running.job.folder))
            await press(app, pilot, "f3", "r")
            assert "holds at both ends, and between" in text(app)
            return first, app.running.stage.lines

    first, second = asyncio.run(scenario())
    assert len(first) == 2 and second[:2] == first and len(played) == 2 + 1 + 4
    (record,) = records(tmp_path)
    bench = record.folder / "first-bench.yaml"
    assert typed == [f"edgewheel threshold {bench} speed --from 500.0 --to 7000.0"]
    again = [*shlex.split(typed[0])[1:], "--resume", str(record.folder), "--json"]
    played.clear()
    assert main(again) == 0 and not played, "the command line finds all of it on record"


@pytest.mark.parametrize(
    ("notes", "command", "told"),
    [
        ({FINGERPRINT: "1"}, "edgewheel diagnose b.yaml", "in any case\n{0} --resume {1}"),
        ({FINGERPRINT: "1"}, "edgewheel diagnose --resume r b.yaml", "in any case\n{0}"),
        ({}, "edgewheel starts b.yaml", "begin anew:\n{0}"),
    ],
)
def test_how_a_search_without_an_end_goes_on(notes, command, told, tmp_path):
    with SearchRecord(tmp_path) as record:
        record.inputs((), notes)
    append(tmp_path, stamped(f"{PROMPT}{command}"))
    assert cut_off(tmp_path).endswith(told.format(command, tmp_path))


def test_the_time_left_is_told_by_what_is_played_now():
    class Minute:
        now_ns = iter((0, 60_000_000_000)).__next__

    running = Running(Endless(), done_share=0.4, clock=Minute())
    running.stage = Stage(0.5)
    assert running.left == "5:00 left"


def test_a_suite_that_lost_its_bench_can_go_on(tmp_path):
    with SearchRecord(tmp_path / "suite") as record:
        record.inputs((), {})
    suite = Endless()
    suite.folder, suite.again, suite.lost_bench = record.folder, lambda _: suite, True
    suite.stages = lambda: iter([Stage(1.0, answer="First: error")])
    running = Running(suite)
    running.play()
    assert running.can_go_on and running.rest() is suite
    assert running.stage.answer == "First: error · r goes on from there"


def test_a_table_of_tests_fills_in_where_each_test_stands():
    tests = [SimpleNamespace(name=name, title=name.title()) for name in ("up", "down", "noise")]
    lines = table(tests, {"up": [], "down": ["○ passed", "✗ failed"], "noise": []})
    assert [line.split()[0] for line in lines] == ["…", "○", "✗", "…"]


def test_a_sweep_cannot_go_on_and_says_so(tmp_path):
    async def scenario():
        async with console((120, 40), runs=tmp_path) as (app, pilot):
            app.begin(Endless())
            await press(app, pilot, "f3", "f8")
            assert "r goes on" not in text(app)
            await press(app, pilot, "r")
            return [note.message for note in app._notifications]

    assert "a sweep begins anew" in asyncio.run(scenario())[-1]


def test_another_wheel_has_the_simulated_controller_set_for_it_and_is_in_sync(tmp_path):
    desk = mock_desk(runs=tmp_path)
    for wheel in ("36-minus-1-1-tooth-cam", "60-minus-2", "12-minus-3"):
        assert desk.use_wheel(wheel)
        verdict = VerdictListener(desk.plan.limits, desk.plan.signals)
        for event in Rig().run(desk.to_search().with_motion(IDLE)):
            verdict.hear(event)
        assert verdict.verdict().outcome == "passed", wheel
    assert not desk.use_wheel("4-slit-disc-2-slots"), "no sheet says how to set it for that"


def test_diagnose_names_what_is_wrong(tmp_path):
    seen = searched(tmp_path, "d")
    assert "Nothing is wrong at 1000 rpm" in seen


def test_five_thousand_events_a_second_are_heard_and_recorded(tmp_path):
    from console_load import measure

    load = measure(2, tmp_path)
    assert load.heard == load.made > 5000
    assert load.recorded == load.pulses
    assert load.cores < 0.5, "15 % is for the benchmark; this one is short and never alone"
