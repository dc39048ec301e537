"""A VR sensor's voltage in a live run: what the board is told is what the pins play."""

from fractions import Fraction

import numpy as np
import pytest

from edgewheel.bench.live.bench import LiveBench
from edgewheel.bench.live.course import mean_deg_at
from edgewheel.bench.live.settings import LiveFaults
from edgewheel.bench.live.state import FaultState
from edgewheel.board.waves import Waves
from edgewheel.console.desk import Desk
from edgewheel.errors import FileError
from edgewheel.link.waves import WaveForm
from live_bench import Playing, assert_plays_again, plan_of

BENCH = """\
sensors:
  crank: {{kind: vr, amplitude: {{mv_per_rpm: 2{threshold}}}}}
stage: {{crank: {{output: vr, leads: grounded}}}}
faults: {{leads: {{kind: leads_reversed, track: crank, off: {off}}}}}
"""


@pytest.mark.parametrize("off", ["true", "false"], ids=["off in the file", "on in the file"])
@pytest.mark.parametrize("state", [FaultState.HELD, FaultState.OFF])
def test_the_leads_are_told_as_they_lie_when_the_run_begins(tmp_path, monkeypatch, off, state):
    """The stage inverts: low half-waves lead up to a tooth, high ones if the leads are swapped."""
    configs, configure = [], Waves.configure

    def note(waves, config):
        configs.append(config)
        return configure(waves, config)

    monkeypatch.setattr(Waves, "configure", note)
    more = BENCH.format(threshold="", off=off)
    playing = Playing(tmp_path, 1000, more, switched={"leads": state})
    playing.play(0.1)
    playing.park()
    (config,) = configs
    assert WaveForm.read(config.fields).approach == (state is FaultState.HELD)


def test_no_polarity_of_a_voltage_can_be_switched_while_it_turns(tmp_path):
    """Not by a change of the fault's track, nor as a spare fault of the console."""
    leads = BENCH.format(threshold="", off="true")
    plan = plan_of(tmp_path, leads.replace("leads_reversed, track: crank", "polarity, track: cam"))
    faults = LiveFaults.of(plan)
    with pytest.raises(FileError, match="kind: leads_reversed"):
        faults.edited("faults.leads.track", "crank")
    desk = Desk(tmp_path / "bench.yaml", tmp_path, LiveBench)
    spare = {"leads_reversed", "polarity", "swapped", "weak_signal"}
    assert spare & set(desk.player.state.faults) == {"leads_reversed", "weak_signal"}


@pytest.mark.parametrize(("cams", "offered"), [(4, True), (5, False)])
def test_a_spare_weak_signal_takes_the_last_output_of_nobody(tmp_path, cams, offered):
    """It would keep the bench from turning, and is none of the bench file's."""
    teeth = [f"  cam{n}: {{shaft: cam, teeth: [[{20 * n}, {20 * n + 60}]]}}\n" for n in range(cams)]
    crank = "  crank: {shaft: crank, teeth: {pitches: 60, missing: 2}}\n"
    tracks = "format: 1\nname: Many cams\nperiod: 720\ntracks:\n" + crank + "".join(teeth)
    (tmp_path / "many.yaml").write_text(tracks)
    plan_of(
        tmp_path,
        "sensors: {crank: {kind: vr, amplitude: {mv_per_rpm: 2}}}\n"
        "stage: {crank: {output: vr, leads: grounded}}",
        wheel="many.yaml",
    )
    player = Desk(tmp_path / "bench.yaml", tmp_path, LiveBench).player
    assert ("weak_signal" in player.state.faults) == offered
    assert len(player._plan.number_lines) == offered


WEAK = """\
sensors:
  crank: {kind: vr, amplitude: {mv_per_rpm: 2RUNOUT}}
stage: {crank: {output: vr, leads: floating, full_scale_mv: 12000}}
faults:
  weak: {off: true, kind: weak_signal, track: crank, peak_mv_at_1000_rpm: 500, threshold_mv: 1TEETH}
  leads: {kind: leads_reversed, track: crank, off: true}
"""


def weak_bench(teeth="", run_out=""):
    return WEAK.replace("TEETH", teeth).replace("RUNOUT", run_out)


def by_tooth(playing, from_s=0.1, to_s=9):
    """Of every half-wave between these times, the tooth beside it (from 1) and its height in mV.

    At 1,000 rpm, with teeth of 3 degrees every 6: centres are 1.5 degrees behind each 6.
    """
    seconds, mv = playing.half_waves()
    middle_deg = 6000 * (seconds[:-1] + seconds[1:]) / 2
    teeth = np.round((middle_deg - 1.5) / 6) % 60 + 1
    there = (seconds[:-1] >= from_s) & (seconds[1:] < to_s) & (np.diff(seconds) < 0.0008)
    return list(zip(teeth[there].astype(int).tolist(), mv[1:][there].tolist(), strict=True))


def test_a_weak_tooth_comes_changes_and_goes_while_it_turns(tmp_path):
    playing = Playing(tmp_path, 1000, weak_bench(", teeth: [5, 9]"))
    playing.play(0.3)
    for change in (
        lambda: playing.fault("weak", FaultState.HELD),
        lambda: playing.edit("faults.weak.peak_mv_at_1000_rpm", "1500"),
        lambda: playing.fault("leads", FaultState.HELD),
        lambda: playing.fault("weak", FaultState.OFF),
    ):
        change()
        playing.play(0.5003)
    playing.park()
    taken = [one.seconds for one in playing.taken]
    strengths = (2000, 500, 1500, 1500, 2000)
    for begin, end, weak in zip([0.1, *taken], [*taken, 9], strengths, strict=True):
        found = by_tooth(playing, begin + 0.01, end)
        assert len(found) > 200
        for tooth, mv in found:
            # An edited strength is one of sixteen: 2000 / 14 apart.
            near = 75 if weak == 1500 else 5
            assert mv == pytest.approx(weak if tooth in (5, 9) else 2000, abs=near), tooth


@pytest.mark.parametrize("teeth", ["", ", teeth: [20]"])
def test_a_tooth_that_is_weak_once_is_so_on_both_sides(tmp_path, teeth):
    playing = Playing(tmp_path, 1000, weak_bench(teeth))
    playing.play(0.3)
    playing.fault("weak", FaultState.ONCE)
    playing.play(0.4)
    playing.park()
    found = by_tooth(playing)
    weak = [tooth for tooth, mv in found if mv < 1000]
    assert len(weak) == 2 and weak[0] == weak[1]
    assert not teeth or weak[0] == 20
    assert [mv for _, mv in found if mv > 1000] == pytest.approx(
        [2000] * (len(found) - 2), rel=0.01
    )
    assert_plays_again(playing)


def test_run_out_goes_on_through_a_change_of_speed(tmp_path):
    playing = Playing(tmp_path, 800, weak_bench(run_out=", run_out: 0.2, closest_at: 90"))
    playing.play(0.3)
    playing.speed(1000)
    playing.play(0.5)
    playing.park()
    seconds, mv = playing.half_waves()
    motion = playing.run.leg.motion
    rpm = np.where(seconds[:-1] < playing.taken[0].seconds, 800, 1000)
    middle_deg = [
        float(mean_deg_at(motion, Fraction(at))) for at in (seconds[:-1] + seconds[1:]) / 2
    ]
    centre_deg = np.round((np.array(middle_deg) - 1.5) / 6) * 6 + 1.5
    wanted = 2 * rpm * (1 + 0.2 * np.cos(np.radians(centre_deg - 90)))
    plain = (np.diff(seconds) < 0.0008) & (seconds[:-1] > 0.1)
    off = np.abs(mv[1:] / wanted - 1)[plain]
    assert len(off) > 500 and np.quantile(off, 0.99) < 0.03


def test_lines_know_the_teeth_and_have_room_for_weaker_ones(tmp_path):
    plan = LiveFaults.of(plan_of(tmp_path, weak_bench(run_out=", run_out: 0.1"))).plan
    (lines,) = plan.number_lines
    assert (lines.bits, lines.shares[0], lines.shares[-1]) == (4, 0, pytest.approx(1.1, rel=0.02))
    assert sum(0.89 < share <= 1.1 for share in lines.shares) >= 8
    assert max(np.diff(lines.shares)) < 0.15


def test_a_live_run_tells_lengths_beside_a_fault_that_is_off(tmp_path):
    """Half-waves of 36-1 come in two lengths, so there is room for the strengths and six more."""
    for run_out, told, shares in (("", 2, 8), (", run_out: 0.1", 0, 16)):
        plan = plan_of(tmp_path, weak_bench(run_out=run_out), wheel="36-minus-1")
        (lines,) = LiveFaults.of(plan).plan.number_lines
        assert (len(lines.lengths_deg), len(lines.shares)) == (told, shares)
        assert run_out or {0.25, 1} <= set(lines.shares)


@pytest.mark.parametrize(
    ("off", "state"), [("off: true, ", FaultState.HELD), ("", FaultState.OFF)], ids=["on", "off"]
)
def test_numbers_are_those_of_the_wheel_that_the_run_begins_with(tmp_path, off, state):
    """Not of the bench file's: they would be read by lengths that the board was not told."""
    bent = f"  bent: {{{off}kind: bent_tooth, track: crank, teeth: [7], by_deg: 3}}\n"
    switched = {"bent": state, "weak": FaultState.HELD}
    more = weak_bench(", teeth: [5]") + bent
    playing = Playing(tmp_path, 1000, more, switched=switched, wheel="36-minus-1")
    playing.play(0.3)
    playing.park()
    seconds, mv = playing.half_waves()
    found = mv[1:][(seconds[:-1] > 0.1) & (seconds[1:] < 0.28)]
    assert len(found) > 200
    assert set(np.round(found, -1)) == {500, 2000}


def test_weak_teeth_are_left_to_the_controller(tmp_path):
    more = BENCH.format(threshold=", threshold_mv: 5000", off="true")
    playing = Playing(tmp_path, 1000, more)
    playing.play(0.3)
    playing.park()
    assert len(playing.crank()[0]) > 400
