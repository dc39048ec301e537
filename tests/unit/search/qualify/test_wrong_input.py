"""What `edgewheel qualify` is given wrongly is refused before a trial is played."""

import json
import shutil

import pytest

from edgewheel.cli.main import main
from edgewheel.search.qualify.against import Release, compare, read_release
from edgewheel.search.qualify.reading import load_qualify, only
from qualify_suite import DEMO, play


@pytest.fixture(scope="module")
def stall(tmp_path_factory):
    """The folder of a suite of one test."""
    return play(DEMO, tmp_path_factory.mktemp("stall"), ["stall"]).folder


@pytest.fixture
def refused(tmp_path, monkeypatch, capsys):
    """What qualify says to these words; nothing was played."""
    monkeypatch.chdir(tmp_path)

    def told(*words: object) -> str:
        assert main(["qualify", *map(str, words)]) == 2
        assert not (tmp_path / "runs").exists()
        return capsys.readouterr().err

    return told


def plan_with(folder, file: str, was: str, becomes: str) -> str:
    """The demo's plan copied, one place in one of its files changed."""
    shutil.copytree(DEMO.parent, folder / "changed")
    changed = folder / "changed" / file
    assert was in changed.read_text()
    changed.write_text(changed.read_text().replace(was, becomes, 1))
    return str(folder / "changed" / DEMO.name)


@pytest.mark.parametrize("place", ["empty", "file", "missing"])
def test_only_a_record_can_be_resumed(refused, tmp_path, place):
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").touch()
    told = refused("frost-fan", "--only", "stall", "--resume", place)
    assert f"{place} holds no search to go on with" in told
    assert not list((tmp_path / "empty").iterdir()) and not (tmp_path / "missing").exists()


def test_another_plans_record_cannot_be_resumed(refused, tmp_path, stall):
    other = plan_with(tmp_path, DEMO.name, "seed: 11", "seed: 12")
    assert "the record of another search" in refused(other, "--only", "stall", "--resume", stall)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[1]", "no summary of a run"),
        ("{", "cannot be read"),
        ('{"kind": "sweep"}', "is no suite"),
        ('{"kind": "qualify"}', "is not whole"),
        ('{"kind": "qualify", "tests": [7]}', "is not whole"),
        ('{"kind": "qualify", "tests": [{"name": "stall"}]}', "is not whole"),
    ],
)
def test_what_is_no_whole_suite_is_not_compared_with(refused, tmp_path, stall, text, says):
    shutil.copytree(stall, tmp_path / "edited")
    (tmp_path / "edited" / "summary.json").write_text(text)
    assert says in refused("frost-fan", "--only", "stall", "--against", "edited")


def test_a_suite_without_its_record_is_not_compared_with_nor_given_one(refused, tmp_path, stall):
    shutil.copytree(stall, tmp_path / "bare")
    (tmp_path / "bare" / "run.sqlite").unlink()
    assert "is not whole" in refused("frost-fan", "--only", "stall", "--against", "bare")
    assert not (tmp_path / "bare" / "run.sqlite").exists()


def test_another_plans_suite_has_nothing_to_compare(refused, tmp_path, stall):
    other = plan_with(tmp_path, DEMO.name, "kind: stall\n    rpm: 9", "kind: stall\n    rpm: 8")
    assert "nothing could be compared" in refused(other, "--only", "stall", "--against", stall)
    assert "nothing could be compared" in refused(
        "frost-fan", "--only", "bounce", "--against", stall
    )


def test_a_test_that_the_bench_lost_is_not_compared(tmp_path, stall):
    plan = load_qualify(DEMO)
    sound = read_release(stall, only(plan, ["stall"]))
    assert compare(plan, sound, sound)["compared"] == 1
    shutil.copytree(stall, tmp_path / "lost")
    summary = json.loads((stall / "summary.json").read_text())
    summary["tests"][0] |= {"verdict": "error", "measured": None}
    (tmp_path / "lost" / "summary.json").write_text(json.dumps(summary))
    lost: Release = read_release(tmp_path / "lost", plan.tests)
    for pair in ((sound, lost), (lost, sound)):
        found = compare(plan, *pair)
        assert (found["compared"], found["not_compared"]) == (0, ["stall"])


def test_a_missing_wheel_is_named_with_the_bench_file_that_asks_for_it(refused, tmp_path):
    plan = plan_with(tmp_path, "bench.yaml", "wheel: ./wheel.yaml", "wheel: fan-wheel")
    told = refused(plan)
    assert "bench.yaml:6: wheel: There is no wheel 'fan-wheel'" in told
