"""The sign of a VR sensor's voltage, from the metal of the wheel to the controller's connector.

Metal that nears makes the voltage of `metal: high` positive, metal that leaves negative, so it
falls through zero on the tooth's centre, whichever way the wheel turns (PROTOCOL.md section 7).
"""

from fractions import Fraction

import numpy as np
import pytest

from edgewheel.bench.events import Began, SyncGained
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.board.waves import Waves
from edgewheel.link.waves import Told, WaveForm, WaveTrack
from plain_waves import MIDDLE, code_of

HZ = 16_000_000
RPM, MV_PER_RPM = 1000, 2
PEAK_MV = RPM * MV_PER_RPM
BENCH = """\
format: 1
name: Which way round
wheel: 60-minus-2-half-moon-cam
board: {{kind: sim, tick_hz: 16000000}}
sensors:
  crank: {{kind: vr, metal: {metal}, amplitude: {{mv_per_rpm: 2}}}}
stage:
  crank: {{output: vr, leads: grounded, full_scale_mv: 12000{inverts}}}
{faults}
controller:
  kind: sim
  settings:
    crank: {{line: crank, vr: {{arming_mv: [[0, 100]], teeth_a_turn: 60}}}}
    cam: {{line: cam}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: high}}
    engine: {{firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}}
motion:
  segments:
    - {{hold: 1000, seconds: 0.15}}
    - {{ramp: 0, seconds: 0.1}}
    - {{ramp: 1000, seconds: 0.1, reverse: true}}
    - {{hold: 1000, seconds: 0.15, reverse: true}}
"""
TURN_BACK_DEG, TURN_BACK_S = 900, 0.35
"""Where the wheel is, and when, once it turns backward at the full speed."""

TEETH = [(360 + 6 * n, 363 + 6 * n) for n in range(58)]
"""Metal from and to, crank degrees, in the wheel's second turn."""


class Connector:
    """The crank's voltage behind the output stage, from what the board was told and what it did."""

    def __init__(self, monkeypatch):
        self._transitions, self._configs = [], []
        exchange, configure = ControllerOnPins.exchange, Waves.configure

        def listen(wired, transitions, until_tick):
            self._transitions.append(transitions)
            return exchange(wired, transitions, until_tick)

        def note(waves, config):
            self._configs.append(config)
            return configure(waves, config)

        monkeypatch.setattr(ControllerOnPins, "exchange", listen)
        monkeypatch.setattr(Waves, "configure", note)

    def play(self, plan):
        """Play it; the events."""
        events = list(Rig().run(plan))
        self._origin = next(event.tick for event in events if isinstance(event, Began))
        stage = plan.output_stage(HZ)
        self._turned = -1 if stage.inverts[0] else 1
        self._delay = stage.rise_ticks[0]
        self._mv = float(plan.voltages[0].full_scale_mv) / MIDDLE
        (config,) = (one for one in self._configs if one.wave == 0)
        self._form = WaveForm.read(config.fields)
        self._tell(config.output)
        return events

    def _tell(self, output):
        """Every half-wave by the crossing at the pin where it begins, as high as the board says."""
        peaks = [one for part in self._transitions for one in part.peaks]
        self._crossings = np.concatenate([one.ticks for one in peaks])
        heights = np.concatenate([one.heights for one in peaks]).astype(int).tolist()
        ticks = np.concatenate([part.ticks for part in self._transitions])
        masks = np.concatenate([part.masks for part in self._transitions])
        self._levels = (masks[ticks.searchsorted(self._crossings)] >> output & 1).tolist()
        self._lengths = np.diff(self._crossings).tolist()
        track = WaveTrack(self._form)
        kinds = [track.tell(length).kind for length in self._lengths]
        self._told = [Told(*one) for one in zip(kinds, heights[1:], strict=True)]

    def mv(self, seconds):
        """Millivolts at the connector so long after table tick 0."""
        tick = self._origin + round(seconds * HZ) - self._delay
        n = int(self._crossings.searchsorted(tick, side="right")) - 1
        at = tick - int(self._crossings[n])
        played = code_of(self._form, self._told[n], self._levels[n], self._lengths[n], at)
        return (played - MIDDLE) * self._mv * self._turned


def forward(angle_deg):
    return angle_deg / (6 * RPM)


def backward(angle_deg):
    return TURN_BACK_S + (TURN_BACK_DEG - angle_deg) / (6 * RPM)


def plan_of(folder, metal, inverts, reversed_leads):
    faults = "faults: {leads: {kind: leads_reversed, track: crank}}" if reversed_leads else ""
    path = folder / "bench.yaml"
    given = "" if inverts else ", inverts: false"
    path.write_text(BENCH.format(metal=metal, inverts=given, faults=faults), encoding="utf-8")
    plan = load_plan(path)
    assert plan.stage[0].inverts is inverts
    assert plan.stage[0].rise_us > Fraction(5)
    return plan


@pytest.mark.parametrize("reversed_leads", [False, True], ids=["right", "leads reversed"])
@pytest.mark.parametrize("metal", ["high", "low"])
@pytest.mark.parametrize("inverts", [True, False], ids=["inverted", "straight"])
def test_metal_that_nears_makes_the_voltage_that_the_sensor_says(
    tmp_path, monkeypatch, metal, inverts, reversed_leads
):
    connector = Connector(monkeypatch)
    events = connector.play(plan_of(tmp_path, metal, inverts, reversed_leads))
    positive = (metal == "high") is not reversed_leads
    sign = 1 if positive else -1
    for when, nearer in ((forward, -0.1), (backward, 0.1)):
        for begin, end in TEETH:
            centre = (begin + end) / 2
            nears, leaves = (begin, end) if when is forward else (end, begin)
            assert connector.mv(when(nears)) * sign > 0.9 * PEAK_MV, (when, begin)
            assert connector.mv(when(leaves)) * sign < -0.9 * PEAK_MV, (when, begin)
            before, after = connector.mv(when(centre + nearer)), connector.mv(when(centre - nearer))
            assert before * sign > 0.05 * PEAK_MV > -0.05 * PEAK_MV > after * sign, (when, begin)
            assert abs(before + after) < 0.02 * PEAK_MV, (when, begin)
    assert any(isinstance(event, SyncGained) for event in events) is positive
