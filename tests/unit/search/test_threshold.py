"""The threshold search against doubles whose threshold is known."""

import random
from math import exp, isnan

import pytest

from edgewheel.search.axis import Axis
from edgewheel.search.posterior import Answer, posterior_of
from edgewheel.search.seek import Limit
from edgewheel.search.threshold import Estimate, Found, ThresholdSearch, Wanted


def logistic(threshold: float, scale: float, seed: int = 0):
    """A controller that fails more and more often above a threshold."""
    draws = random.Random(seed)

    def fails(x: float) -> bool:
        z = max(-500.0, min(500.0, (x - threshold) / scale))
        return draws.random() < 1 / (1 + exp(-z))

    return fails


USUAL = Wanted()


def searched(fails, wanted: Wanted = USUAL) -> tuple[ThresholdSearch, int]:
    search, trials = ThresholdSearch(wanted), 0
    while (place := search.next_place()) is not None:
        search.tell(place, fails(place))
        trials += 1
    return search, trials


@pytest.mark.parametrize("threshold", [0.003, 0.31, 0.5, 0.77, 0.997])
@pytest.mark.parametrize("high", [True, False])
def test_a_deterministic_controller_is_bisected_and_its_bracket_proved(threshold, high):
    search, trials = searched(lambda x: (x > threshold) is high)
    estimate = search.estimate()
    assert (estimate.found, estimate.fails_high) == (Found.BRACKET, high)
    assert estimate.low <= threshold <= estimate.high
    assert estimate.high - estimate.low <= 0.01
    assert trials <= 2 + 7 + 12


@pytest.mark.parametrize(("share", "passes", "fails"), [(0.5, 7, 7), (0.9, 3, 37), (0.1, 37, 3)])
def test_each_end_of_a_bracket_is_repeated_until_it_proves_its_side(share, passes, fails):
    """So often that by chance, (1 - p)^n or p^n, it comes in less than 1 of 40 searches."""
    found = []
    searched(lambda x: not found.append(round(x, 9)) and x > 0.3, Wanted(share))
    low = max(x for x in found if x <= 0.3)
    high = min(x for x in found if x > 0.3)
    assert (found.count(low), found.count(high)) == (passes, fails)


def test_a_narrower_bracket_costs_one_trial_for_each_halving():
    counts = [searched(lambda x: x > 1 / 3, Wanted(within=2.0**-n))[1] for n in (6, 7, 8, 9)]
    assert counts == [counts[0] + extra for extra in range(4)]


@pytest.mark.parametrize("fails", [True, False])
def test_where_both_ends_agree_there_is_no_threshold(fails):
    search, trials = searched(lambda x: fails)
    assert search.estimate().found is Found.NONE
    assert search.estimate().fails_high is fails
    assert trials == 6


@pytest.mark.parametrize("threshold", [-0.1, 1.1])
def test_a_threshold_beyond_the_range_is_not_put_at_its_end(threshold):
    for seed in range(8):
        estimate = searched(logistic(threshold, 0.06, seed))[0].estimate()
        assert estimate.found in (Found.BEYOND, Found.NONE)
        assert estimate.found is Found.NONE or (estimate.threshold > 1) is (threshold > 1)
        assert estimate.found is Found.NONE or estimate.low <= threshold <= estimate.high


@pytest.mark.parametrize("share", [0.2, 0.3, 0.5, 0.7])
def test_what_fails_as_often_everywhere_has_no_threshold(share):
    for seed in range(8):
        draws = random.Random(seed)
        search, trials = searched(lambda _, draws=draws: draws.random() < share)
        assert search.estimate().found is Found.NONE
        assert trials < 80


def now_and_then_at_the_end(seed: int):
    """As with a bounce that comes so late that it is now and then no tooth of its own."""
    draws = random.Random(seed)
    return lambda x: x > 0.3 and (x < 0.97 or draws.random() < 0.5)


def test_an_end_that_passes_though_all_before_it_fails_does_not_bend_a_limit():
    estimates = [searched(now_and_then_at_the_end(seed))[0].estimate() for seed in range(12)]
    assert Found.SEVERAL in [estimate.found for estimate in estimates]
    for estimate in estimates:
        known = estimate.found in (Found.BRACKET, Found.INTERVAL, Found.TRIALS)
        assert not known or estimate.threshold == pytest.approx(0.3, abs=0.02)


def test_two_ends_that_lied_at_first_do_not_decide_the_side():
    lies = iter([True, False])
    fails = logistic(0.6, 0.1)
    estimate = searched(lambda x: next(lies, None) or fails(x))[0].estimate()
    assert estimate.fails_high and estimate.low <= 0.6 <= estimate.high


def test_the_sentence_says_on_which_side_a_threshold_lies_or_that_there_is_none():
    def limit(estimate: Estimate, failed: int = 9) -> Limit:
        return Limit(Axis("speed", 500, 7000), estimate, 12, failed)

    def told(estimate: Estimate, failed: int = 9) -> str:
        return limit(estimate, failed).sentence(0.05)

    beyond = Estimate(Found.BEYOND, True, -0.3, -0.1, 0.02, 0.1)
    assert "5 % of trials fail at one below 500 (21 trials" in told(beyond)
    assert "now and then wherever it was tried (21 trials" in told(Estimate(Found.NONE, True))
    assert "holds at both ends, and between them nothing was tried (12 trials" in told(
        Estimate(Found.NONE, False), 0
    )
    assert isnan(limit(beyond).low) and isnan(limit(beyond).threshold)
    open_end = Estimate(Found.TRIALS, True, -0.01, 0.01, 0.04, 0.02)
    assert "95 % interval below 500 to 760" in told(open_end)


def test_a_gradual_controller_gets_an_interval_and_a_spread():
    search, trials = searched(logistic(0.4, 0.02), Wanted(within=0.03, trials=200))
    estimate = search.estimate()
    assert estimate.found is Found.INTERVAL
    assert estimate.low <= 0.4 <= estimate.high
    assert 0.01 < estimate.spread < 0.04
    assert trials < 80


def test_a_gradual_controller_that_fails_below_is_the_mirror_image():
    up, down = logistic(0.3, 0.03, seed=5), logistic(0.3, 0.03, seed=5)
    above = searched(up, Wanted(trials=40))[0].estimate()
    below = searched(lambda x: down(1 - x), Wanted(trials=40))[0].estimate()
    assert below.fails_high is False
    assert above.low <= 0.3 <= above.high
    assert below.low <= 0.7 <= below.high


@pytest.mark.parametrize(("share", "z"), [(0.1, -2.197), (0.9, 2.197)])
def test_another_probability_is_another_value(share, z):
    estimates = [
        searched(logistic(0.5, 0.03, seed), Wanted(share, trials=80))[0].estimate()
        for seed in range(20)
    ]
    mean = sum(estimate.threshold for estimate in estimates) / len(estimates)
    assert mean == pytest.approx(0.5 + z * 0.03, abs=0.02)


def test_no_more_trials_than_allowed():
    search, trials = searched(logistic(0.5, 0.1), Wanted(trials=25))
    assert trials == 25
    assert search.estimate().found is Found.TRIALS


def test_one_slip_of_the_bench_does_not_move_the_answer_far():
    slip = iter([False, True, False, False, True])

    def fails(x: float) -> bool:
        return next(slip, x > 0.7)

    estimate = searched(fails, Wanted(trials=60))[0].estimate()
    assert estimate.threshold == pytest.approx(0.7, abs=0.02)


@pytest.mark.slow
def test_the_95_percent_interval_covers_the_truth_in_95_percent_of_1000_searches():
    covered = 0
    for seed in range(1000):
        threshold = random.Random(-seed).uniform(0.2, 0.8)
        estimate = searched(logistic(threshold, 0.05, seed), Wanted(trials=30))[0].estimate()
        covered += estimate.low <= threshold <= estimate.high
    assert 920 <= covered <= 970


@pytest.mark.slow
def test_a_third_of_the_trials_of_a_staircase_of_20_levels_for_the_same_interval():
    adaptive = staircase = 0
    for seed in range(30):
        threshold = random.Random(-seed).uniform(0.2, 0.8)
        search, trials = searched(logistic(threshold, 0.03, seed), Wanted(trials=36))
        estimate = search.estimate()
        adaptive += trials
        staircase += staircase_trials(logistic(threshold, 0.03, seed), estimate.high - estimate.low)
    assert adaptive <= staircase / 3


def staircase_trials(fails, width: float) -> int:
    """Trials of a fixed staircase until the same model's interval is as narrow; stops at 600."""
    answers: list[Answer] = []
    while len(answers) < 600:
        answers += [Answer(level / 19, fails(level / 19)) for level in range(20)]
        low, _, high = posterior_of(answers, 0.5).interval()
        if high - low <= width:
            break
    return len(answers)
