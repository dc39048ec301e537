"""What board and controller say becomes the events of a run, whatever the order it is heard in."""

from fractions import Fraction

import pytest

from edgewheel.bench.events import (
    Began,
    Cause,
    Cut,
    Finished,
    Pulsed,
    PulsesLost,
    Reported,
    SyncGained,
    SyncLost,
)
from edgewheel.bench.follow import Follower
from edgewheel.bench.links import Heard, Said
from edgewheel.bench.loader import load_plan
from edgewheel.cli.demo import BENCH
from edgewheel.controller.lines import Report, pairs
from edgewheel.link.events import (
    LinkQuality,
    Parked,
    PulsesCaptured,
    PulsesMissing,
    RunEnded,
    RunStarted,
)
from edgewheel.link.messages import Reason
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold

HZ = 125_000_000
START = 3600 * HZ
RPM = 3000
MOTION = Motion([hold(Fraction(RPM), seconds=Fraction(10))])


def at(seconds):
    return START + round(seconds * HZ)


def said(seconds, losses=0):
    text = f"rpm={RPM} sync=full losses={losses} advance=10"
    report = Report(at(seconds), text, pairs(text))
    return Said(at(seconds), text.encode(), (report,))


def ended(seconds):
    last_tick = at(seconds) - START
    return RunEnded(1, Reason.END, True, 10, last_tick, START, LinkQuality())


class Run:
    """A run of the demo's bench at a constant speed, told by hand what comes."""

    def __init__(self):
        plan = load_plan(BENCH).with_motion(MOTION)
        self._follower = Follower(plan, HZ, 0, tuple(plan.signals.sparks), 0)

    def hear(self, seconds, *events, said=()):
        return list(self._follower.take(Heard(events, said, at(seconds))))


@pytest.fixture
def synced():
    run = Run()
    found = run.hear(1.5, RunStarted(1, START, 0), said=(said(1.5),))
    assert isinstance(found[-2], SyncGained)
    return run


def kinds(events):
    return [type(event) for event in events]


@pytest.mark.parametrize(("armed", "pulses"), [(0b01, [("b", 1)]), (0b00, [("a", 1), ("b", 1)])])
def test_a_line_that_was_high_at_arm_has_not_risen(armed, pulses):
    follower = Follower(load_plan(BENCH), HZ, 0, ("a", "b"), 0)
    events = (RunStarted(1, 1000, armed), PulsesCaptured(0, (2000,), (0b11,)))
    seen = follower.take(Heard(events, (), 3000))
    assert [(one.line, one.level) for one in seen if isinstance(one, Pulsed)] == pulses


def test_what_was_said_before_the_start_has_its_place_on_the_engines_time_line():
    run = Run()
    assert run.hear(-0.1, said=(said(-0.1),)) == []
    began, _, report, *more = run.hear(0.1, RunStarted(1, START, 0), said=(said(0.1),))
    assert isinstance(began, Began) and isinstance(report, Reported)
    assert report.seconds == pytest.approx(-0.1)
    assert kinds(more).count(SyncGained) == 1


def test_what_was_said_before_the_end_is_judged_though_both_are_heard_at_once(synced):
    events = ended(1.52), Parked(at(1.53))
    found = synced.hear(1.55, *events, said=(said(1.51, losses=1), said(1.54, losses=2)))
    assert [one.cause for one in found if isinstance(one, SyncLost)] == [Cause.COUNTED]
    assert isinstance(found[-1], Finished) and found[-1].sparks == 0


def test_sparks_beside_a_gap_in_the_pulses_are_no_fault_of_the_controller(synced):
    late = PulsesCaptured(6, (at(1.53),), (0b00,))  # two coils have fired, nobody knows when
    pulses = PulsesCaptured(0, (at(1.52),), (0b11,)), PulsesMissing(5), late
    found = synced.hear(1.54, *pulses, said=(said(1.54),))
    assert kinds(found).count(PulsesLost) == 1 and SyncLost not in kinds(found)


def test_sparks_have_not_vanished_while_the_board_is_not_heard(synced):
    synced.hear(1.53, PulsesCaptured(0, (at(1.52), at(1.53)), (0b1, 0b0)))
    assert Cut not in kinds(synced.hear(1.9, said=(said(1.7), said(1.9))))
    *_, finished = synced.hear(1.95, ended(1.93), Parked(at(1.94)))
    assert finished.sparks == 1
