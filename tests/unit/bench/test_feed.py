"""The controller's supply, switched for each run: before the crank turns, or while it does."""

from pathlib import Path

import pytest

from board_at_port import board_at_port
from edgewheel.bench.events import Began, Finished, Reported, SyncGained, SyncLost
from edgewheel.bench.feed import CommandSwitch, Feed, FeedCommand
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.cli.main import main
from edgewheel.clock import VirtualClock
from edgewheel.errors import BenchError, FileError, UsageError
from edgewheel.search.trial import judge

BENCH = """
format: 1
name: Key-on
wheel: 60-minus-2-half-moon-cam
board: {{kind: sim, tick_hz: 16000000}}
controller:
  kind: sim
  settings:
    crank: {{line: crank, edge: rising}}
    cam: {{line: cam, edge: rising}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: high}}
    engine: {{firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}}
    power: {{boot_ms: {boot_ms}}}
feed: {{{feed}}}
motion: {{segments: [{{hold: 900, seconds: {seconds}}}]}}
limits: {{sync_within_s: 0.3}}
"""


def plan(folder: Path, feed: str, boot_ms: float = 200, seconds: float = 1.2):
    file = folder / "bench.yaml"
    file.write_text(BENCH.format(feed=feed, boot_ms=boot_ms, seconds=seconds))
    return load_plan(file)


def events(plan) -> list:
    return list(Rig().run(plan))


def first(events: list, kind: type):
    return next(event for event in events if isinstance(event, kind))


def test_key_on_waits_for_the_boot_then_cranks(tmp_path):
    heard = events(plan(tmp_path, "output: 3, off: 0.5, boot: 0.25"))
    reports = [event for event in heard if isinstance(event, Reported)]
    assert reports[0].seconds == pytest.approx(-0.05 + 0.04, abs=0.01)  # booted, one interval on
    assert float(reports[0].fields["t"]) < 0.05  # its clock begins with its supply
    assert 0 < first(heard, SyncGained).seconds < 0.2
    assert first(heard, Finished).verified


def test_a_crank_that_turns_before_the_boot_is_over_is_found_later(tmp_path):
    late = events(plan(tmp_path, "output: 3, off: 0.5, boot: 0", boot_ms=200))
    ready = events(plan(tmp_path, "output: 3, off: 0.5, boot: 0.25", boot_ms=200))
    assert first(late, SyncGained).seconds > 0.2 > first(ready, SyncGained).seconds


def test_a_supply_that_comes_while_the_crank_turns(tmp_path):
    turning = plan(tmp_path, "output: 3, boot: 0.25, turning: 0.6")
    heard = events(turning)
    assert 0.8 < first(heard, Reported).seconds < 0.9
    assert 0.8 < first(heard, SyncGained).seconds < 1.0
    assert not any(isinstance(event, SyncLost) for event in heard)
    assert judge(Rig(), turning)[0]  # the wait for sync counts from the boot on


def test_silence_after_the_boot_still_counts(tmp_path):
    """It never boots: nothing is forgiven after the time that it was given."""
    dead = plan(tmp_path, "output: 3, boot: 0.25, turning: 0.3", boot_ms=5000)
    passed, detail, _ = judge(Rig(), dead)
    assert not passed and "never found sync" in detail


@pytest.mark.parametrize("level", ["high", "low"])
def test_the_output_may_be_any_spare_one_and_switch_either_way(tmp_path, level):
    spare = plan(tmp_path, f"output: 6, on_level: {level}, boot: 0.25")
    assert spare.lines == ("crank", "cam", "", "", "", "supply")
    assert judge(Rig(), spare)[0]


def test_each_trial_begins_with_a_controller_that_knows_nothing(tmp_path, capsys, monkeypatch):
    """The boot wait has an address, so a search can ask how long it must be."""
    monkeypatch.chdir(tmp_path)
    plan(tmp_path, "output: 3, off: 0.1, boot: 0.1", boot_ms=200, seconds=0.3)
    asked = ["feed.boot", "--from", "0", "--to", "0.4", "--within", "10"]
    file = tmp_path / "bench.yaml"
    file.write_text(file.read_text().replace("sync_within_s: 0.3", "sync_within_s: 0.12"))
    assert main(["threshold", "bench.yaml", *asked]) == 0
    said = capsys.readouterr().out
    assert "fails below feed.boot = " in said
    at = float(said.split("feed.boot = ")[1].split(":")[0])
    assert 0.1 < at < 0.25


@pytest.mark.parametrize(
    ("feed", "says"),
    [
        ("output: 2", "carries a track of the wheel"),
        ("off: 1", "what switches the supply"),
        ("output: 3, command: {on: a, off: b}", "what switches the supply"),
        ("command: {on: 'a \"', off: b}", "no command"),
        ("output: 3, bot: 1", "boot"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, feed, says):
    with pytest.raises(FileError, match=says):
        plan(tmp_path, feed)


def switch(folder: Path, **feed) -> CommandSwitch:
    note = ["python3", "-c", f"open({str(folder / 'log')!r}, 'a').write(__import__('sys').argv[1])"]
    command = FeedCommand((*note, "1"), (*note, "0"))
    return CommandSwitch(Feed(3, command=command, **feed), command, VirtualClock())


def test_commands_switch_off_wait_and_on(tmp_path, monkeypatch):
    monkeypatch.setenv("EDGEWHEEL_FEED_COMMANDS", "yes")
    switch(tmp_path).before(lambda: False)
    assert (tmp_path / "log").read_text() == "01"


def test_a_command_comes_when_the_crank_has_turned_so_long(tmp_path, monkeypatch):
    monkeypatch.setenv("EDGEWHEEL_FEED_COMMANDS", "yes")
    turning = switch(tmp_path, turning_s=2)
    turning.before(lambda: False)
    turning.during(1.9)
    assert (tmp_path / "log").read_text() == "0"
    for seconds in (2.0, 2.1):
        turning.during(seconds)
    assert (tmp_path / "log").read_text() == "01"


@pytest.mark.realtime
@pytest.mark.parametrize(
    ("feed", "logged"),
    [("off: 0.1, boot: 0.1", "on before the crank"), ("off: 0.1, turning: 0.3", "on later")],
)
def test_on_ports_commands_run_around_a_run(tmp_path, monkeypatch, feed, logged):
    monkeypatch.setenv("EDGEWHEEL_FEED_COMMANDS", "yes")
    monkeypatch.chdir(tmp_path)
    command = "command: {on: touch on, off: touch off}"
    with board_at_port(tmp_path) as (_, bench):
        tail = f"feed: {{{command}, {feed}}}\nmotion: {{segments: [{{hold: 900, seconds: 0.8}}]}}\n"
        bench.write_text(bench.read_text() + tail)
        played = load_plan(bench)
        assert (played.lines, played.supply) == (("crank", "cam"), None)
        seen = [(event, Path("on").exists()) for event in Rig().run(played)]
    assert Path("off").exists()
    began = next(on for event, on in seen if isinstance(event, Began))
    assert began == (logged == "on before the crank")
    finished, on = next((event, on) for event, on in seen if isinstance(event, Finished))
    assert finished.verified and on


def test_no_command_runs_that_nobody_has_allowed(tmp_path, monkeypatch):
    monkeypatch.delenv("EDGEWHEEL_FEED_COMMANDS", raising=False)
    with pytest.raises(UsageError, match="EDGEWHEEL_FEED_COMMANDS=yes"):
        switch(tmp_path).before(lambda: False)
    assert not (tmp_path / "log").exists()


def test_a_command_that_fails_loses_the_bench(tmp_path, monkeypatch):
    monkeypatch.setenv("EDGEWHEEL_FEED_COMMANDS", "yes")
    command = FeedCommand(("python3", "-c", "raise SystemExit('relay gone')"), ("false",))
    with pytest.raises(BenchError, match=r"false: exit code 1"):
        CommandSwitch(Feed(3, command=command), command, VirtualClock()).before(lambda: False)
