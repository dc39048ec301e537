"""The walk-through of a call, command by command, as the page has it."""

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from edgewheel.cli.main import main
from fan_7 import tooth_log

ROOT = Path(__file__).parents[3]
EXAMPLE = ROOT / "host/edgewheel/examples/fan-7"
BLOCK = re.compile(r"^```console\n(.*?)^```", re.MULTILINE | re.DOTALL)


def commands() -> list[tuple[str, list[str]]]:
    """Each command of the page and the lines that it must say."""
    found: list[tuple[str, list[str]]] = []
    for block in BLOCK.findall((ROOT / "host/docs/walkthrough.md").read_text(encoding="utf-8")):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line[2:], []))
            else:
                found[-1][1].append(line)
    return found


def test_every_command_says_what_the_page_says(tmp_path, monkeypatch, capsys):
    for file in EXAMPLE.iterdir():
        shutil.copy(file, tmp_path)
    monkeypatch.chdir(tmp_path)
    steps = commands()
    assert len(steps) >= 10
    for command, expected in steps:
        words = shlex.split(command)
        if words[0] != "edgewheel":
            subprocess.run(command, shell=True, check=True)
            continue
        code = main(words[1:])
        said = "\n".join(capsys.readouterr()).splitlines()
        assert [line for line in expected if line not in said] == [], (command, said)
        assert code == any("failed." in line for line in expected), command


def test_the_log_is_the_one_that_the_project_makes():
    written = [int(line) for line in (EXAMPLE / "tooth-log.txt").read_text().split()]
    assert written == tooth_log()


def test_the_page_can_fail(tmp_path, monkeypatch, capsys):
    """A wheel that is sound does not say what the page says."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tooth-log.txt").write_text("\n".join(map(str, [1013, *[1000] * 57, 3000] * 20)))
    main(["learn", "tooth-log.txt", "--edge", "fall"])
    assert "tooth 17" not in capsys.readouterr().out
    with pytest.raises(SystemExit):
        main(["learn"])
