"""What counts as lost sync, one way of losing it after the other."""

from fractions import Fraction

import pytest

from edgewheel.bench.events import Cause, Cut, Pulsed, Reported, SyncGained, SyncLost
from edgewheel.bench.judge import SyncJudge
from edgewheel.bench.position import SparkCheck, tooth_pitch_deg
from edgewheel.bench.signals import Limits, Signals, SparkLine
from edgewheel.bench.truth import Truth
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold
from edgewheel.wheel.library import find

WHEEL = find("60-minus-2-half-moon-cam")
RPM = 1000
TDC_1 = 84
STOP = (RPM, 2), (0, 1), (RPM, 60)
LINES = {"coil_1": SparkLine((1,)), "coil_1_4": SparkLine((1, 4))}


class Bench:
    """A judge at constant speed, told by hand what the controller says."""

    def __init__(
        self,
        advance_deg: float | None = None,
        motion: Motion | None = None,
        sync: str = "sync",
    ) -> None:
        truth = Truth(motion or Motion([hold(Fraction(RPM), seconds=Fraction(60))]))
        signals = Signals(sync=sync, sparks=LINES, advance_deg=advance_deg)
        limits = Limits(silence_ms=500, rev_limit_rpm=6000)
        self.judge = SyncJudge(truth, signals, limits, SparkCheck(truth, WHEEL, LINES, limits))
        self.found = []
        self.advance = 10.0

    def report(self, seconds: float, **fields) -> list:
        said = {"rpm": float(RPM), "sync": "full", "losses": 0.0, "reason": "none"}
        said |= {"advance": self.advance} | fields
        return self._note(self.judge.report(Reported(0, seconds, "", said)))

    def spark(self, cycle: int, error_deg: float = 0.0, line: str = "coil_1") -> list:
        angle = TDC_1 - 10 + 720 * cycle + error_deg
        seconds = angle / (6 * RPM)
        self.judge.pulse(Pulsed(0, seconds, line, 0))
        return self.report(seconds + 0.001) if self.found else []

    def passed(self, seconds: float) -> list:
        return self._note(self.judge.passed(seconds, seconds))

    def _note(self, findings) -> list:
        new = list(findings)
        self.found += new
        return new


@pytest.fixture
def synced() -> Bench:
    bench = Bench()
    assert [type(finding) for finding in bench.report(0.04)] == [SyncGained]
    return bench


def causes(findings: list) -> list[Cause]:
    return [finding.cause for finding in findings if isinstance(finding, SyncLost)]


def test_the_controller_says_so(synced):
    (lost,) = synced.report(0.08, sync="none", reason="no teeth")
    assert (lost.cause, lost.reason, round(lost.rpm)) == (Cause.SAID, "no teeth", RPM)
    assert synced.report(0.12, sync="none") == []


def test_its_loss_counter_steps_between_two_good_reports(synced):
    assert causes(synced.report(0.08, losses=1.0)) == [Cause.COUNTED]


def test_its_speed_is_wrong_for_longer_than_allowed(synced):
    assert synced.report(0.08, rpm=1100.0) == []
    assert synced.report(0.3, rpm=1100.0) == []
    (lost,) = synced.report(0.4, rpm=1100.0)
    assert (lost.cause, lost.seconds) == (Cause.SPEED, 0.08)


def test_a_speed_that_is_wrong_for_a_moment_is_forgiven(synced):
    synced.report(0.08, rpm=1100.0)
    synced.report(0.2)
    assert synced.report(0.4, rpm=1100.0) == []


def test_it_falls_silent(synced):
    assert synced.passed(0.5) == []
    (lost,) = synced.passed(0.6)
    assert (lost.cause, lost.seconds) == (Cause.SILENCE, 0.04)


def test_silence_of_a_port_that_is_away_is_not_the_controllers(synced):
    synced.judge.deaf(2.0)
    assert synced.passed(2.4) == []
    (lost,) = synced.passed(2.6)
    assert (lost.cause, lost.seconds) == (Cause.SILENCE, 2.0)


@pytest.mark.parametrize("error_deg", [6, -6, 3.5, 360])
def test_it_claims_sync_while_its_sparks_stand_wrong(synced, error_deg):
    assert synced.spark(1, error_deg) == []
    assert causes(synced.spark(2, error_deg)) == [Cause.POSITION]


def test_silent_mis_sync_is_called_within_a_cycle_of_its_second_spark(synced):
    synced.spark(1, 6)
    (lost,) = synced.spark(2, 6)
    assert "6.0 degrees too late" in lost.detail
    assert lost.seconds == pytest.approx((TDC_1 - 4 + 1440) / (6 * RPM))
    assert synced.report(0.3) == []


def test_wrong_sparks_of_a_loss_that_is_then_said_are_not_silent(synced):
    for cycle in (1, 2):
        synced.judge.pulse(Pulsed(0, (TDC_1 + 90 + 720 * cycle) / (6 * RPM), "coil_1", 0))
    assert causes(synced.report(0.28, sync="none")) == [Cause.SAID]


@pytest.mark.parametrize(("losses", "told"), [(0.0, Cause.POSITION), (1.0, Cause.COUNTED)])
def test_wrong_sparks_that_are_right_again_were_silent_unless_the_loss_was_counted(
    synced, losses, told
):
    for cycle, error_deg in ((1, 90), (2, 90), (3, 0)):
        seconds = (TDC_1 - 10 + 720 * cycle + error_deg) / (6 * RPM)
        synced.judge.pulse(Pulsed(0, seconds, "coil_1", 0))
    assert causes(synced.report(0.4, losses=losses)) == [told]
    assert causes(synced.report(0.44, losses=losses)) == []


def test_a_wrong_spark_between_right_ones_is_forgiven(synced):
    assert [synced.spark(cycle, error) for cycle, error in enumerate((0, 6, 0, 6, 0))] == [[]] * 5


def test_one_wrong_spark_each_of_two_coils_is_two_in_a_row(synced):
    assert synced.spark(1, 90) == []
    assert causes(synced.spark(1, 91, "coil_1_4")) == [Cause.POSITION]


def test_one_coil_that_is_always_wrong_is_told_though_the_others_between_are_right(synced):
    assert synced.spark(1, -6) == synced.spark(1, 0, "coil_1_4") == []
    (lost,) = synced.spark(2, -6)
    assert (lost.cause, lost.detail) == (Cause.POSITION, "coil_1 fires 6.0 degrees too early")


def test_sparks_before_pulses_went_missing_are_not_known(synced):
    """A wrong spark before does not count, and sparks are waited for from there."""
    synced.spark(1, 6)
    synced.judge.pulses_missing(1.0)
    assert synced.report(1.1) + synced.passed(1.23) == []
    assert synced.spark(11, 6) == []
    assert causes(synced.spark(12, 6)) == [Cause.POSITION]
    synced.judge.pulses_missing(2.0)
    assert [type(finding) for finding in synced.report(2.2)] == [SyncGained]
    assert synced.passed(2.23) == []
    assert [type(finding) for finding in synced.passed(2.25)] == [Cut]


def test_where_no_field_tells_of_sync_the_speed_does():
    bench = Bench(sync="")
    assert bench.report(0.04, rpm=0.0) == []
    assert [type(finding) for finding in bench.report(0.08)] == [SyncGained]
    assert causes(bench.report(0.12, rpm=0.0)) == [Cause.SAID]


def test_a_false_claim_is_told_once_though_true_sync_never_was():
    bench = Bench()
    assert bench.report(0.04, sync="none") == []
    for cycle in (3, 4):
        bench.judge.pulse(Pulsed(0, (TDC_1 + 350 + 720 * cycle) / (6 * RPM), "coil_1", 0))
    assert causes(bench.report(0.54)) == [Cause.POSITION]
    assert bench.report(0.58) == []


@pytest.mark.parametrize("error_deg", [0, 2.9, -2.9])
def test_less_than_half_a_tooth_pitch_is_no_loss(synced, error_deg):
    for cycle in range(5):
        assert synced.spark(cycle, error_deg) == []


def test_a_wasted_spark_cannot_show_a_turn(synced):
    for cycle in range(5):
        assert synced.spark(cycle, 360, "coil_1_4") == []


def test_where_nobody_knows_the_advance_sparks_tell_nothing():
    bench = Bench()
    bench.advance = "none"
    bench.report(0.04)
    for cycle in range(5):
        assert causes(bench.spark(cycle, 90)) == []


def test_a_fixed_advance_serves_where_none_is_reported():
    bench = Bench(advance_deg=10.0)
    bench.advance = "none"
    bench.report(0.04)
    bench.spark(1, 90)
    assert causes(bench.spark(2, 90)) == [Cause.POSITION]


def test_vanished_sparks_with_good_reports_are_a_cut(synced):
    synced.spark(0)
    findings = []
    for step in range(1, 12):
        seconds = step * 0.04
        findings += synced.report(seconds) + synced.passed(seconds)
    assert [type(finding) for finding in findings] == [Cut]
    assert findings[0].sparks is False
    synced.spark(5)
    (back,) = synced.passed((TDC_1 + 720 * 5) / (6 * RPM) + 0.001)
    assert back.sparks is True


def test_sync_comes_back_when_everything_agrees_again(synced):
    synced.report(0.08, sync="none")
    assert [type(finding) for finding in synced.report(0.12)] == [SyncGained]


def test_no_sync_is_asked_of_an_engine_that_stands():
    bench = Bench()
    assert bench.report(61.0, sync="none", rpm=0.0) == []
    assert bench.passed(62.0) == []


@pytest.fixture
def turning_again() -> Bench:
    """It had sync, the engine stood for a second, and turns again since 3 s."""
    bench = Bench(motion=Motion([hold(Fraction(r), seconds=Fraction(s)) for r, s in STOP]))
    bench.report(1.0)
    bench.report(2.5, sync="none", rpm=0.0)
    assert bench.passed(3.0) + bench.report(3.1, sync="none") == []
    return bench


def test_sync_must_come_in_time_when_the_engine_turns_again(turning_again):
    assert turning_again.passed(7.9) == turning_again.report(8.0, sync="none") == []
    (lost,) = turning_again.passed(8.2)
    assert (lost.cause, lost.seconds) == (Cause.ABSENT, 8.0)
    assert turning_again.passed(8.3) == []


def test_sync_is_not_asked_for_while_the_port_is_away(turning_again):
    turning_again.judge.deaf(7.9)
    assert turning_again.passed(8.2) == []
    assert [type(finding) for finding in turning_again.report(8.3)] == [SyncGained]


def test_a_run_that_ends_before_sync_is_back_has_lost_it(turning_again):
    assert causes(turning_again.judge.ended(4.0)) == [Cause.ABSENT]


def test_sync_that_is_back_is_no_loss(turning_again):
    assert [type(finding) for finding in turning_again.report(3.3)] == [SyncGained]
    assert turning_again.passed(3.4) == causes(turning_again.judge.ended(4.0)) == []


def test_the_pitch_of_a_wheel_is_its_least_distance_of_teeth():
    assert tooth_pitch_deg(WHEEL) == 6
    assert tooth_pitch_deg(find("4-even-cam")) == 180
