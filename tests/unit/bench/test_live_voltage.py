"""A VR sensor's voltage in a live run: what the board is told is what the pins play."""

import pytest

from edgewheel.bench.live.state import FaultState
from edgewheel.board.waves import Waves
from edgewheel.link.waves import WaveForm
from live_bench import Playing

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


def test_weak_teeth_are_left_to_the_controller(tmp_path):
    more = BENCH.format(threshold=", threshold_mv: 5000", off="true")
    playing = Playing(tmp_path, 1000, more)
    playing.play(0.3)
    playing.park()
    assert len(playing.crank()[0]) > 400
