"""The verdict over a run, and its sentence, from what was found in it."""

import pytest

from edgewheel.bench.events import Cause, Cut, Finished, Reported, SyncGained, SyncLost
from edgewheel.bench.signals import Limits, Signals
from edgewheel.bench.verdict import Outcome, VerdictListener

GAINED = SyncGained(2.5, 250)
LOST = SyncLost(3.0, 1000, Cause.SAID, "it reports no sync", "no gap")
FALSE = SyncLost(0.5, 1000, Cause.POSITION, "coil_1 fires 6.0 degrees too late", "")
WHOLE = Finished(9.0, True, False, "")
LIMITED = Limits(from_s=1.0, sync_within_s=2.0, rev_limit_rpm=6000, speed_error_percent=5)


def said(*names):
    return Reported(0, 0.5, "", dict.fromkeys(names, 0.0))


def verdict(*events, limits=LIMITED, **how):
    listener = VerdictListener(limits, Signals(), **how)
    for event in events:
        listener.hear(event)
    made = listener.verdict()
    return made.outcome, made.detail, made.verified


@pytest.mark.parametrize(
    ("events", "outcome", "detail"),
    [
        ([GAINED], "passed", "sync after 2.500 s, never lost"),
        ([said("rpm", "sync")], "failed", "the controller never found sync"),
        ([], "failed", "the controller never found sync: no report came that could be read"),
        (
            [said("rpm"), said("state")],
            "failed",
            "the controller never found sync: 'signals.sync' names 'sync', and its reports have "
            "rpm, state",
        ),
        ([said("sync")], "failed", "the controller never found sync"),
        (
            [FALSE],
            "failed",
            "the controller never found sync: it claims it, but coil_1 fires 6.0 degrees too late",
        ),
        ([SyncGained(3.0, 250)], "passed", "sync after 3.000 s, never lost"),
        ([SyncGained(3.1, 250)], "failed", "sync came after 2.10 s, the limit is 2 s"),
        (
            [GAINED, LOST],
            "failed",
            "sync was lost at 3.000 s and 1000 rpm: it reports no sync",
        ),
        (
            [GAINED, LOST, SyncGained(4, 1000), FALSE],
            "failed",
            "sync was lost at 3.000 s and 1000 rpm: it reports no sync, and once again",
        ),
        (
            [GAINED, LOST, LOST, LOST],
            "failed",
            "sync was lost at 3.000 s and 1000 rpm: it reports no sync, and 2 times again",
        ),
        ([GAINED, Cut(5, 5700, False)], "passed", "sync after 2.500 s, never lost"),
        ([GAINED, Cut(5, 1000, True)], "passed", "sync after 2.500 s, never lost"),
        (
            [GAINED, Cut(5, 6100, False), Cut(6, 5690, False)],
            "failed",
            "sparks vanished at 5690 rpm, below the rev limit of 6000 rpm",
        ),
    ],
)
def test_what_was_found_makes_the_verdict(events, outcome, detail):
    assert verdict(*events, WHOLE) == (outcome, detail, True)


def test_sparks_that_vanish_where_no_rev_limit_is_declared_fail():
    outcome, detail, _ = verdict(GAINED, Cut(5, 7000, False), WHOLE, limits=Limits())
    assert outcome is Outcome.FAILED
    assert detail == "sparks vanished at 7000 rpm, and 'limits:' declares no rev limit"


@pytest.mark.parametrize(
    ("events", "outcome", "detail"),
    [
        ([], "error", "the run was cut off"),
        ([Finished(4, False, False, "the board starved")], "error", "the board starved"),
        ([Finished(4, True, True, "")], "aborted", "stopped by hand"),
    ],
)
def test_a_run_that_was_not_played_whole_says_nothing_of_the_controller(events, outcome, detail):
    assert verdict(GAINED, LOST, *events)[:2] == (outcome, detail)


def test_a_run_that_only_a_hand_ends_is_judged():
    assert verdict(GAINED, LOST, Finished(4, True, True, ""), open_end=True)[0] is Outcome.FAILED
    assert verdict(GAINED, Finished(4, True, True, ""), open_end=True) == (
        Outcome.PASSED,
        "sync after 2.500 s, never lost",
        False,
    )


@pytest.mark.parametrize(
    ("sparks", "detail"),
    [
        (None, "sync after 2.500 s, never lost"),
        (7, "sync after 2.500 s, never lost"),
        (
            0,
            "sync after 2.500 s, never lost; no spark came that could be held against the crank "
            "angle",
        ),
    ],
)
def test_what_was_not_compared_is_said(sparks, detail):
    assert verdict(GAINED, Finished(9.0, True, False, "", sparks)) == (Outcome.PASSED, detail, True)
