"""The statistics of the threshold search against published methods and a general library."""

import random
from math import exp, log, sqrt

import numpy as np
import pytest
from scipy.optimize import minimize, minimize_scalar
from scipy.stats import binomtest, entropy

from edgewheel.search.binomial import agreeing, clopper_pearson
from edgewheel.search.posterior import Answer, Posterior, failing, posterior_of


@pytest.mark.parametrize("tried", [1, 2, 7, 30, 200])
@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.99])
def test_clopper_pearson_is_what_scipy_calls_exact(tried, confidence):
    for failed in {0, 1, tried // 3, tried - 1, tried}:
        interval = binomtest(failed, tried).proportion_ci(confidence, "exact")
        assert clopper_pearson(failed, tried, confidence) == pytest.approx(interval, abs=1e-9)


@pytest.mark.parametrize(("share", "error"), [(0.5, 0.025), (0.9, 0.025), (0.2, 0.001)])
def test_so_many_agreeing_trials_are_the_fewest_that_a_binomial_test_accepts(share, error):
    count = agreeing(share, error)
    assert binomtest(count, count, share, alternative="greater").pvalue <= error
    assert binomtest(count - 1, count - 1, share, alternative="greater").pvalue > error


def answers_of(threshold: float, scale: float, places, seed: int) -> list[Answer]:
    draws = random.Random(seed)
    return [Answer(x, draws.random() < 1 / (1 + exp((threshold - x) / scale))) for x in places]


@pytest.mark.parametrize("seed", range(5))
def test_the_threshold_is_scipys_maximum_likelihood_of_a_logistic(seed):
    """With 400 trials the prior says little, and median and maximum are one within the error."""
    answers = answers_of(0.45, 0.04, np.tile(np.linspace(0.3, 0.6, 20), 20), seed)
    x = np.array([answer.x for answer in answers])
    sign = np.where([answer.failed for answer in answers], 1, -1)

    def loss(parameters: np.ndarray) -> float:
        return float(np.logaddexp(0, -sign * (x - parameters[0]) / exp(parameters[1])).sum())

    fit = minimize(loss, [0.5, log(0.1)], method="BFGS")
    error = sqrt(fit.hess_inv[0, 0])
    posterior = posterior_of(answers, 0.5)
    low, median, high = posterior.interval()
    assert median == pytest.approx(fit.x[0], abs=0.2 * error)
    assert high - low == pytest.approx(2 * 1.96 * error, rel=0.15)
    assert posterior.slope() == pytest.approx(exp(fit.x[1]), rel=0.15)


def test_the_next_trial_goes_where_the_expected_entropy_is_least():
    """Kontsevich and Tyler 1999, with the slope summed out: each place tried out by hand."""
    answers = [Answer(0.2, False), Answer(0.7, True), Answer(0.5, True), Answer(0.55, False)]
    best = posterior_of(answers, 0.5).best_place()
    expected = {place: expected_entropy(answers, place) for place in np.linspace(0, 1, 41)}
    assert expected_entropy(answers, best) <= min(expected.values()) + 1e-3


def expected_entropy(answers: list[Answer], place: float) -> float:
    """Of the threshold, in nats, after one more trial."""
    fine = [threshold_density([*answers, Answer(place, failed)]) for failed in (True, False)]
    evidence = [density.sum() for density in fine]
    return sum(
        e / sum(evidence) * entropy(density) for e, density in zip(evidence, fine, strict=True)
    )


def threshold_density(answers: list[Answer]) -> np.ndarray:
    """Likelihood times an even prior, the slope summed out, on a grid of its own."""
    t = np.linspace(-0.5, 1.5, 243)[:, None]
    s = np.geomspace(1 / 2000, 1 / 4, 17)
    weights = np.ones((243, 17))
    for answer in answers:
        fails = 0.001 + 0.998 / (1 + np.exp(np.clip((t - answer.x) / s, -500, 500)))
        weights = weights * (fails if answer.failed else 1 - fails)
    return weights.sum(axis=1)


def up_and_down(threshold: float, scale: float, step: float, trials: int, seed: int):
    """Trials by the up-and-down rule: one step down after a failure, up after a pass."""
    draws, level, answers = random.Random(seed), round(0.5 / step), []
    for _ in range(trials):
        x = level * step
        failed = draws.random() < 1 / (1 + exp((threshold - x) / scale))
        answers.append(Answer(x, failed))
        level += -1 if failed else 1
    return answers


@pytest.mark.parametrize("seed", range(10))
def test_an_up_and_down_series_gives_what_dixon_and_mood_make_of_it(seed):
    """W. J. Dixon and A. M. Mood, J. American Statistical Association 43 (1948).

    Their estimate from the rarer outcome at levels y' + i d: m = y' + d (A / N +- 1/2) with A the
    sum of i n_i, minus for failures. The formula is from memory; the series is made here, since the
    paper's own table was not at hand.
    """
    step = 0.06
    answers = up_and_down(0.52, 0.04, step, 80, seed)
    failed = sum(answer.failed for answer in answers)
    rarer = failed <= len(answers) - failed
    levels = [answer.x for answer in answers if answer.failed is rarer]
    half = -0.5 if rarer else 0.5
    numbers = [(x - min(levels)) / step for x in levels]
    dixon_mood = min(levels) + step * (sum(numbers) / len(numbers) + half)
    low, median, high = posterior_of(answers, 0.5).interval()
    assert median == pytest.approx(dixon_mood, abs=0.25 * (high - low))
    assert low < dixon_mood < high


DIXON_1965 = {
    "F": -0.500, "FO": 0.842, "FF": -0.178, "FOO": 0.299, "FOF": -0.500, "FFO": 1.000,
    "FFF": 0.194, "FOOO": -0.157, "FOOF": -0.878, "FOFO": 0.701, "FOFF": 0.084, "FFOO": 0.305,
    "FFOF": -0.305, "FFFO": 1.288, "FOOOO": -0.547, "FOOOF": -1.250,
    "FOOFO": 0.372, "FOOFF": -0.169, "FOFOO": 0.022, "FOFOF": -0.500, "FOFFO": 1.169,
    "FOFFF": 0.611, "FFOOO": -0.296, "FFOOF": -0.831, "FFOFO": 0.831, "FFOFF": 0.296,
    "FFFOO": 0.500, "FFFOF": -0.043, "FFFFO": 1.603, "FFFFF": 0.893,
}  # fmt: skip
"""After a first O: the series of an up-and-down test, F for a failure (a cross in the paper), and k
of the estimate x + k d from its last level x and its step d.

W. J. Dixon, "The up-and-down method for small samples", J. American Statistical Association 60
(1965), the published worked values that follow from Dixon and Mood's method for few trials. From
memory; each is the maximum likelihood of a normal curve whose standard deviation is d, to 0.001.
Four failures in a row are left out: the value remembered for them is not that likelihood's.
"""


@pytest.mark.parametrize("series", DIXON_1965)
def test_dixons_published_estimates_are_the_models(series):
    """The model with a logistic of the same scale (1.702 of its own make a normal's).

    Where four trials in a row agree, the estimate hangs on the far tails, which differ.
    """
    step, level, answers = 0.05, 0.5, []
    for word in "O" + series:
        answers.append(Answer(level, word == "F"))
        level += -step if word == "F" else step
    published = answers[-1].x + DIXON_1965[series] * step

    def loss(t: float) -> float:
        x, slope = np.array([answer.x for answer in answers]), np.array(step / 1.702)
        fails = failing(x, np.array(t), slope, 0.5)
        failed = np.array([answer.failed for answer in answers])
        return float(-np.log(np.where(failed, fails, 1 - fails)).sum())

    fit = minimize_scalar(loss, bounds=(0.2, 0.8), method="bounded", options={"xatol": 1e-7})
    if "FFFF" not in series and "OOOO" not in series:
        assert fit.x == pytest.approx(published, abs=0.1 * step)
    low, _, high = posterior_of(answers, 0.5).interval()
    assert low < published < high


def test_the_posterior_does_not_depend_on_the_order_of_trials():
    answers = answers_of(0.3, 0.05, np.linspace(0.1, 0.6, 60), 3)
    shuffled = random.Random(1).sample(answers, len(answers))
    one, other = Posterior(0.5), Posterior(0.5)
    for answer in answers:
        one.add(answer)
    for answer in shuffled:
        other.add(answer)
    assert one.interval() == pytest.approx(other.interval(), abs=2e-3)
