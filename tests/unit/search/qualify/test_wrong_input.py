"""What `edgewheel qualify` is given wrongly is refused before a trial is played."""

import shutil

import pytest

from edgewheel.cli.main import main
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
