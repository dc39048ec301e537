"""A VR sensor's voltage in a live run: what the board is told is what the pins play."""

import pytest

from edgewheel.bench.live.bench import LiveBench
from edgewheel.bench.live.settings import LiveFaults
from edgewheel.bench.live.state import FaultState
from edgewheel.board.waves import Waves
from edgewheel.console.desk import Desk
from edgewheel.errors import FileError
from edgewheel.link.waves import WaveForm
from live_bench import Playing, plan_of

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
    assert {"leads_reversed", "polarity", "swapped"} & set(desk.player.state.faults) == {
        "leads_reversed"
    }


def test_weak_teeth_are_left_to_the_controller(tmp_path):
    more = BENCH.format(threshold=", threshold_mv: 5000", off="true")
    playing = Playing(tmp_path, 1000, more)
    playing.play(0.3)
    playing.park()
    assert len(playing.crank()[0]) > 400
