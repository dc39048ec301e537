"""The suite that comes with edgewheel, played on the simulated bench, and held against itself."""

import random
import shutil

import pytest

from edgewheel.search.posterior import Answer
from edgewheel.search.qualify.against import compare, judge, observed, read_release
from edgewheel.search.qualify.changes import Hits, Numbers, Searched, chance
from edgewheel.search.qualify.reading import load_qualify
from qualify_suite import DEMO, play

pytestmark = pytest.mark.slow
NEAREST = 5


def test_the_demo_is_played_in_full_and_says_how_long_a_real_bench_takes(demo):
    assert demo.summary["verdict"] in ("passed", "marginal")
    assert demo.summary["real_seconds_estimate"] > demo.summary["engine_seconds"] > 600
    assert all(test["evidence"] and test["trials"] for test in demo.summary["tests"])


def drawn_again(one, draws):
    """The same measure with fresh noise: its trials drawn again from those on record."""
    if isinstance(one, Numbers):
        return Numbers(tuple(draws.choices(one.values, k=len(one.values))))
    if isinstance(one, Hits):
        return Hits(sum(draws.random() < one.hits / one.count for _ in range(one.count)), one.count)
    answers = []
    for answer in one.answers:
        near = sorted(one.answers, key=lambda other: abs(other.x - answer.x))[:NEAREST]
        answers.append(Answer(answer.x, draws.choice(near).failed))
    return Searched(tuple(answers), one.share)


def test_an_unchanged_controller_raises_a_false_alarm_in_at_most_5_percent(demo):
    plan, draws = load_qualify(DEMO), random.Random(1)
    release = read_release(demo.folder, plan.tests)
    found = {}
    for test in plan.tests:
        found |= observed(test, release.trials[test.name])
    alarms = 0
    for _ in range(200):
        pairs = {n: (drawn_again(o, draws), drawn_again(o, draws)) for n, o in found.items()}
        worse, better = judge({name: chance(*pair) for name, pair in pairs.items()})
        alarms += bool(worse or better)
    assert alarms <= 10


@pytest.mark.parametrize(
    ("was", "becomes", "test"),
    [
        ("blanking_percent: 20", "blanking_percent: 12", "bounce"),
        ("crank_cost_us: 140", "crank_cost_us: 154", "highest_up"),
    ],
)
def test_a_planted_regression_is_named(demo, tmp_path, was, becomes, test):
    shutil.copytree(DEMO.parent, tmp_path / "plan")
    bench = tmp_path / "plan" / "bench.yaml"
    assert was in bench.read_text()
    bench.write_text(bench.read_text().replace(was, becomes))
    file = tmp_path / "plan" / DEMO.name
    changed = play(file, tmp_path / "runs", (test, "stall"))
    plan = load_qualify(file)
    before, after = (read_release(one.folder, plan.tests) for one in (demo, changed))
    against = compare(plan, before, after)
    assert [change["test"] for change in against["worse"]] == [test]
    assert against["better"] == []
