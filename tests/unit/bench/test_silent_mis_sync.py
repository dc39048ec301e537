"""Silent mis-sync planted in whole runs: called lost within one cycle; a rev-limit cut is not."""

import pytest

from edgewheel.bench.events import Cause, Cut, Pulsed, SyncGained, SyncLost
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import Truth, signed_deg

BENCH = """\
format: 1
name: Silent
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {{line: crank}}
    cam: {{line: cam}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: {phase}}}
    engine: {{tdc_after_reference_deg: 84}}
    sync: {{errors_allowed: {forgiven}}}
    report: {{rate_hz: 200}}
{more}
"""
RPM = 1000
CYCLE_S = 2 * 60 / RPM
REPORT_S = 2 / 200
HOLD = f"motion: {{segments: [{{hold: {RPM}, seconds: 1.2}}]}}\n"


def events_of(tmp_path, more, phase="high", forgiven=0):
    bench = tmp_path / "bench.yaml"
    bench.write_text(BENCH.format(more=more, phase=phase, forgiven=forgiven))
    plan = load_plan(bench)
    return Truth(plan.signal.motion), list(Rig().run(plan))


def first_wrong_spark(truth, events, limit_deg=3):
    """The first spark that stands elsewhere than 10 degrees before any TDC of its coil."""
    tdc = {"coil_1": 84, "coil_3": 264, "coil_4": 444, "coil_2": 624}
    for event in events:
        if isinstance(event, Pulsed) and event.level == 0 and event.seconds > 0.2:
            error = signed_deg(truth.angle_deg(event.seconds) + 10 - tdc[event.line])
            if abs(error) > limit_deg:
                return event.seconds
    raise AssertionError("no spark is wrong")


def test_off_by_a_tooth(tmp_path):
    """The teeth behind the extra one are miscounted, so every second spark is right."""
    fault = "faults: {e: {kind: extra_pulse, track: crank, teeth: [17], width_us: 230, "
    fault += "at_percent: 4, from_turn: 8}}\n"
    truth, events = events_of(tmp_path, HOLD + fault, forgiven=1)
    (lost,) = (event for event in events if isinstance(event, SyncLost))
    assert lost.cause is Cause.POSITION
    assert 0 <= lost.seconds - first_wrong_spark(truth, events) <= CYCLE_S + REPORT_S


def test_off_by_a_turn(tmp_path):
    truth, events = events_of(tmp_path, HOLD, phase="low")
    lost = next(event for event in events if isinstance(event, SyncLost))
    assert lost.cause is Cause.POSITION
    assert lost.seconds - first_wrong_spark(truth, events) <= CYCLE_S + REPORT_S


def test_a_rev_limit_cut_is_no_loss(tmp_path):
    more = "    speed: {rev_limit_rpm: 2500}\n"
    more += "motion: {segments: [{hold: 2000, seconds: 0.4}, {ramp: 3000, seconds: 0.5}, "
    more += "{hold: 3000, seconds: 0.4}, {ramp: 2000, seconds: 0.3}, {hold: 2000, seconds: 0.4}]}\n"
    _, events = events_of(tmp_path, more + "limits: {rev_limit_rpm: 2500}\n")
    told = [event for event in events if isinstance(event, SyncGained | SyncLost | Cut)]
    assert [type(event) for event in told] == [SyncGained, Cut, Cut]
    assert [event.sparks for event in told[1:]] == [False, True]
    assert told[1].rpm == pytest.approx(2500, rel=0.1)
