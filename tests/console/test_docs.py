"""The page of keys in the docs is what the bindings say."""

from pathlib import Path

from edgewheel.console.keys_page import keys_page

PAGE = Path(__file__).parents[2] / "host" / "docs" / "console.md"


def test_the_page_of_keys_is_fresh():
    told = "Renew it: edgewheel console --keys > host/docs/console.md"
    assert PAGE.read_text(encoding="utf-8") == keys_page({}), told


def test_keys_of_a_persons_own_are_shown():
    assert "| F9 | Park the outputs at once | `park` |" in keys_page({"park": "f9"})
