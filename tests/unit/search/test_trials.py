"""Trials on the simulated bench: on record one by one, stopped and taken up again."""

import json
import sqlite3
from fractions import Fraction

import numpy as np
import pytest
from scipy.optimize import minimize

from edgewheel.bench.loader import load_plan
from edgewheel.errors import FileError, UsageError
from edgewheel.search.axis import Axis, make_axis
from edgewheel.search.seek import Seek
from edgewheel.search.threshold import Found, Wanted
from edgewheel.search.trial import RunUp
from edgewheel.search.trials import SearchStopped, Trials

BENCH = """
format: 1
name: Sixty
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {line: crank, blanking_percent: 20}
    cam: {line: cam}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    phase: {by: level, level: high}
    engine: {tdc_after_reference_deg: 84}
faults:
  worn: {kind: bounce, track: crank, after: rise, delay_us: 80, width_us: 4}
motion: {segments: [{ramp: 900, from: 0, rate: 5000}, {hold: 900, seconds: 0.5}]}
limits: {sync_within_s: 1}
"""
DELAY = Axis("faults.worn.delay_us", 20, 420)
LIMIT_US = 0.2 * 6 / 6 / 900 * 1e6 - 4
"""Blanking of 20 % of a pitch of 6 degrees at 900 rpm hides what ends before that."""


@pytest.fixture
def bench(tmp_path):
    file = tmp_path / "bench.yaml"
    file.write_text(BENCH)
    return file


USUAL = RunUp()


def trials_of(file, resume=None, run_up=USUAL, asked=None) -> Trials:
    return Trials(load_plan(file), file, run_up, asked or {}, file.parent / "runs", resume)


def test_the_threshold_of_the_simulated_controller_is_where_arithmetic_and_a_grid_say(bench):
    with trials_of(bench) as trials:
        seek = Seek(trials, DELAY, Wanted(within=0.02))
        for _ in seek.items():
            pass
        limit = seek.limit
    assert limit.estimate.found is Found.BRACKET
    assert limit.low - 1 <= LIMIT_US <= limit.high + 1
    with trials_of(bench, asked={"grid": "dense"}) as grid:
        tried = {delay: grid.run({DELAY.address: str(delay)}) for delay in range(118, 319, 20)}
    highest = max(delay for delay, trial in tried.items() if trial.passed)
    assert limit.low <= highest + 20 and limit.high >= highest
    assert all(trial.passed is (delay <= highest) for delay, trial in tried.items())


@pytest.mark.parametrize(
    ("low", "high", "whole"),
    [("1/3", "10", False), ("1234.5678", "2000", False), ("1/2", "9", True)],
)
def test_a_trial_at_an_end_of_the_range_is_one_at_that_end_whatever_its_digits(low, high, whole):
    axis = make_axis("x", Fraction(low), Fraction(high), whole)
    assert [axis.share(float(axis.text(end))) for end in (0.0, 1.0)] == [0.0, 1.0]
    with pytest.raises(UsageError, match="not above"):
        make_axis("x", Fraction(1), Fraction("1.0000001"), whole)


JITTERING = BENCH.replace(
    "kind: bounce, track: crank, after: rise, delay_us: 80, width_us: 4",
    "kind: jitter, track: crank, shape: normal, us: 30",
).replace("gap_ratio_high: 4", "gap_ratio_high: 4, tooth_ratio_low: 0.6, tooth_ratio_high: 1.6")
JITTER = Axis("faults.worn.us", 10, 70)
QUICK = RunUp(Fraction(2000), Fraction(20_000), Fraction(1, 20))


@pytest.mark.slow
def test_a_limit_that_emerges_gradually_is_where_a_dense_grid_has_it(bench):
    """Jitter that now and then makes a tooth look out of its ratio: no single value is the limit.

    The grid's threshold is scipy's maximum likelihood of a logistic over 12 trials at each of 9
    values, its error the curvature there.
    """
    bench.write_text(JITTERING)
    with trials_of(bench, run_up=QUICK) as trials:
        seek = Seek(trials, JITTER, Wanted(within=0.05, trials=100))
        for _ in seek.items():
            pass
        limit = seek.limit
    assert limit.estimate.found is Found.INTERVAL
    with trials_of(bench, run_up=QUICK, asked={"grid": "dense"}) as grid:
        values = [27 + 1.5 * step for step in range(9) for _ in range(12)]
        failed = [not grid.run({JITTER.address: str(value)}).passed for value in values]
    assert 20 < sum(failed) < 88
    x, sign = np.array(values), np.where(failed, 1, -1)

    def loss(parameters):
        return np.logaddexp(0, -sign * (x - parameters[0]) / np.exp(parameters[1])).sum()

    fit = minimize(loss, [33, 0], method="BFGS")
    error = 1.96 * fit.hess_inv[0, 0] ** 0.5
    assert error < 1.5
    assert limit.low - error <= fit.x[0] <= limit.high + error
    assert limit.high - limit.low <= 3


def test_every_trial_is_a_row_with_a_seed_of_its_own(bench):
    with trials_of(bench) as trials:
        for delay in (80, 400):
            trials.run({DELAY.address: str(delay)})
    database = sqlite3.connect(trials.folder / "run.sqlite")
    rows = list(database.execute("SELECT number, setting, seed, passed FROM trial"))
    assert [(number, json.loads(setting), passed) for number, setting, _, passed in rows] == [
        (0, {DELAY.address: "80"}, 1),
        (1, {DELAY.address: "400"}, 0),
    ]
    assert rows[0][2] != rows[1][2]


def test_a_stopped_search_goes_on_without_playing_a_trial_twice(bench):
    with trials_of(bench) as trials:
        seek = Seek(trials, DELAY, Wanted(within=0.2))
        with pytest.raises(SearchStopped):
            for number, _ in enumerate(seek.items()):
                if number == 4:
                    trials.stop()
    folder, before = trials.folder, trials.done
    assert len(before) == 5
    assert not (folder / "summary.json").exists()
    with trials_of(bench, resume=folder) as again:
        for _ in Seek(again, DELAY, Wanted(within=0.2)).items():
            pass
    assert again.done[:5] == before
    assert again.played == len(again.done) - 5
    assert json.loads((folder / "summary.json").read_text())["trials"] == len(again.done)


def test_a_search_taken_up_ends_as_if_it_had_never_been_stopped(bench):
    def limit(trials):
        seek = Seek(trials, DELAY, Wanted(within=0.4))
        for _ in seek.items():
            pass
        return seek.limit

    with trials_of(bench) as whole:
        expected = limit(whole)
    with trials_of(bench) as begun:
        for _, _trial in zip(
            range(3), Seek(begun, DELAY, Wanted(within=0.4)).items(), strict=False
        ):
            pass
    with trials_of(bench, resume=begun.folder) as taken_up:
        assert limit(taken_up) == expected


def test_the_record_of_another_search_is_not_taken_up(bench):
    with trials_of(bench) as trials:
        trials.run({DELAY.address: "80"})
    with pytest.raises(UsageError, match="Search anew"), trials_of(bench, trials.folder) as other:
        other.run({DELAY.address: "90"})
    bench.write_text(BENCH.replace("missing: 2", "missing: 1"))
    with pytest.raises(UsageError, match="another search"), trials_of(bench, trials.folder) as _:
        pass


def test_trials_start_from_different_crank_angles(bench):
    with trials_of(bench) as trials:
        details = {trials.run({DELAY.address: "80"}).detail for _ in range(6)}
    assert len(details) > 1


def test_a_wrong_address_is_refused_with_the_nearest(bench):
    with trials_of(bench) as trials, pytest.raises(FileError, match="delay_us"):
        trials.run({"faults.worn.delay": "80"})


def test_an_address_leads_into_lists(bench):
    with trials_of(bench) as trials:
        assert trials.run({"motion.segments[1].hold": "900"}).passed
        with pytest.raises(FileError, match=r"\[0\] to \[1\]"):
            trials.run({"motion.segments[2].hold": "900"})


def test_without_a_motion_a_speed_is_asked_for(bench):
    bench.write_text("\n".join(line for line in BENCH.splitlines() if "motion" not in line))
    with trials_of(bench) as trials:
        with pytest.raises(UsageError, match="--speed"):
            trials.run({})
        assert trials.run({"speed": "900"}).passed
    with trials_of(bench, run_up=RunUp(Fraction(900))) as trials:
        assert trials.run({}).passed
