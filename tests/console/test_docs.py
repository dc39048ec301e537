"""The page of keys in the docs is what the bindings say."""

from pathlib import Path

from edgewheel.cli.main import main
from edgewheel.console.keys_page import keys_page

PAGE = Path(__file__).parents[2] / "host" / "docs" / "console.md"


def test_the_page_of_keys_is_fresh():
    told = "Renew it: edgewheel console --keys > host/docs/console.md"
    assert PAGE.read_text(encoding="utf-8") == keys_page({}), told


def test_keys_of_a_persons_own_are_shown():
    assert "| F9 | Park the outputs at once | `park` |" in keys_page({"park": "f9"})


def test_without_a_terminal_the_command_says_what_to_do_instead(capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    assert main(["console"]) == 2
    assert "needs a terminal" in capsys.readouterr().err


def test_keys_that_belong_to_nothing_are_refused_with_the_nearest(capsys, tmp_path):
    file = tmp_path / "console.yaml"
    file.write_text("keys: {fault-onse: z}\n", encoding="utf-8")
    assert main(["console", "--keys", "--settings", str(file)]) == 2
    assert "'fault-once'" in capsys.readouterr().err
