"""The folder of a live run is a file for a colleague: played again it gives the same edges."""

import json

import pytest

from edgewheel.bench.live.state import FaultState
from edgewheel.errors import BenchError, UsageError
from edgewheel.search.recorded import RecordedRun, read_rows
from edgewheel.search.shrink import Shrink
from live_bench import METAL_FAULTS, Playing, assert_plays_again, line

FAULTS = """\
faults:
  worn: {off: true, kind: bounce, track: crank, delay_us: 80, width_us: 30, chance: 0.3}
  lost: {off: true, kind: dropped_tooth, track: crank}
"""


def summary_of(playing):
    return json.loads((playing.run.record.folder / "summary.json").read_text())


def test_held_edited_fired_once_and_a_ramp(tmp_path):
    playing = Playing(tmp_path, 1000, FAULTS)
    playing.play(0.3)
    playing.fault("worn", FaultState.HELD)
    playing.play(1)
    playing.edit("faults.worn.delay_us", "200")
    playing.play(0.5)
    playing.speed(2000, rate=2000)
    playing.play(0.5)
    playing.fault("worn", FaultState.OFF)
    playing.play(0.3)
    playing.fault("lost", FaultState.ONCE)
    playing.play(0.3)
    playing.park()
    assert_plays_again(playing)
    plan = RecordedRun(playing.run.record.folder).plan
    assert list(plan.signal.faults) == ["worn", "worn/2", "lost"]
    times = [(one["from_s"], one["to_s"]) for one in summary_of(playing)["faults"]]
    assert times[0][1] == times[1][0] and times[1][1] < times[2][0] < times[2][1]
    assert "not_again" not in summary_of(playing)
    rows = read_rows(playing.run.record.folder / "run.sqlite", "SELECT by, tick FROM edit")
    assert sum(name == "worn" for name, _ in rows) > 100 and "lost" in dict(rows)


def test_a_bench_that_was_lost_ends_where_it_was_last_heard_of(tmp_path):
    playing = Playing(tmp_path, 1000)
    playing.play(0.5)
    playing.run.close(BenchError("The cable was pulled."))
    motion = RecordedRun(playing.run.record.folder).plan.signal.motion
    assert 0.4 < motion.end_s < 0.6


def test_a_wheel_that_was_wrong_from_the_start_plays_again(tmp_path):
    playing = Playing(tmp_path, 1000, line("bent_tooth", METAL_FAULTS["bent_tooth"], off=False))
    playing.play(0.3)
    playing.park()
    assert_plays_again(playing)


def test_a_wheel_that_was_changed_says_that_it_cannot(tmp_path):
    playing = Playing(tmp_path, 1000, line("bent_tooth", METAL_FAULTS["bent_tooth"]))
    playing.play(0.2)
    playing.fault("bad", FaultState.HELD)
    playing.play(0.3)
    playing.park()
    why = summary_of(playing)["not_again"]
    assert why.startswith("The wheel itself was changed while it turned (bad)")
    assert f"# {why}" in (playing.run.record.folder / "bench.yaml").read_text()
    with pytest.raises(UsageError, match="cannot be played again"):
        Shrink(playing.run.record.folder)
