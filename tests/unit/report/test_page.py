"""The page: whole without scripts or a network, and nothing that a record says runs in it."""

import builtins
import json
import re
from html.parser import HTMLParser

import pytest

from edgewheel.cli.main import main
from edgewheel.report.html import html
from edgewheel.report.read import read_report
from records import HOSTILE, suite_record, suite_test

LOADS = {"src", "href", "xlink:href", "action", "data", "poster"}


class Elements(HTMLParser):
    """Every tag with its attributes, and the text outside of scripts and styles."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.words, self._silent = [], [], False
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._silent = tag in ("script", "style")

    def handle_endtag(self, tag):
        self._silent = False

    def handle_data(self, data):
        if not self._silent:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())

    def named(self, name):
        return [attrs for tag, attrs in self.tags if tag == name]


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    return html(read_report(suite_record(tmp_path_factory.mktemp("page") / "suite")))


def test_the_first_words_are_the_verdict(page):
    text = Elements(page).text
    places = [
        text.index(words)
        for words in ("error Of 4 tests", "What was tested", "What is wrong", "What to do",
                      "All tests", "What this rests on", "The inputs")
    ]  # fmt: skip
    assert places == sorted(places)
    for words in ("Worse than before: Recovery takes 9 ms longer.", "edgewheel qualify plan.yaml",
                  "7,398 rpm (7,359 to 7,438)", "20 times: noticed"):  # fmt: skip
        assert words in text


def test_it_loads_nothing(page):
    elements = Elements(page)
    loaded = [v for _, attrs in elements.tags for k, v in attrs.items() if k in LOADS]
    assert loaded
    assert all(value.startswith(("#", "data:image/svg+xml;base64,")) for value in loaded)
    assert not re.search(r"url\((?!#)", re.sub(r"<script.*?</script>", "", page, flags=re.S))
    (policy,) = (meta["content"] for meta in elements.named("meta") if meta.get("http-equiv"))
    assert policy.startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe-eval" not in policy


def test_nothing_of_the_record_becomes_markup(page):
    elements = Elements(page)
    assert [tag for tag, attrs in elements.tags if "onerror" in attrs] == []
    scripts = elements.named("script")
    data = [attrs for attrs in scripts if attrs.get("type") == "application/json"]
    assert len(scripts) - len(data) == 2
    assert HOSTILE not in page
    assert HOSTILE in elements.text
    assert r"stopped \u003c/script\u003e" in page  # in the data of a picture
    assert "<b>an input</b>" in elements.text


def test_it_can_be_heard(page):
    elements = Elements(page)
    assert elements.named("html") == [{"lang": "en"}]
    assert len(elements.named("h1")) == 1
    assert all(attrs.get("scope") in ("col", "row") for attrs in elements.named("th"))
    assert len(elements.named("caption")) == len(elements.named("table"))
    drawings = [attrs for attrs in elements.named("div") if attrs.get("role") == "img"]
    assert len(drawings) == 3
    assert all(len(attrs["aria-label"]) > 20 for attrs in drawings)
    ids = [attrs["id"] for _, attrs in elements.tags if "id" in attrs]
    targets = [a["href"][1:] for a in elements.named("a")]
    assert set(targets) <= set(ids)


def test_what_two_tests_share_is_drawn_once_whatever_each_holds_it_against(tmp_path):
    folder = suite_record(tmp_path / "run")
    starts = {"kind": "starts", "starts": [{"start_deg": 0.0, "degrees": 200.0, "teeth": 30}]}
    summary = json.loads((folder / "summary.json").read_text())
    summary["tests"] = [
        suite_test("degrees", "passed", evidence=[starts],
                   measured={"value": 200.0, "low": 190.0, "high": 210.0, "unit": "degrees"},
                   limit={"sense": "at_most", "value": 900.0}),
        suite_test("share", "passed", evidence=[starts],
                   measured={"value": 100.0, "low": 90.0, "high": 100.0, "unit": "%"},
                   limit={"sense": "at_least", "value": 80.0}),
    ]  # fmt: skip
    (folder / "summary.json").write_text(json.dumps(summary))
    assert "The picture is that of" in Elements(html(read_report(folder))).text


def test_without_the_extra_it_says_what_to_install(tmp_path, monkeypatch, capsys):
    plain = builtins.__import__

    def lacking(name, *rest):
        if name == "vl_convert":
            raise ImportError(name)
        return plain(name, *rest)

    monkeypatch.setattr(builtins, "__import__", lacking)
    record = suite_record(tmp_path / "suite")
    assert main(["report", str(record)]) == 2
    assert "pip install 'edgewheel[report]'" in capsys.readouterr().err
    assert (record / "junit.xml").is_file() and (record / "report.json").is_file()


def test_the_command_writes_where_it_is_told(tmp_path, capsys):
    record = suite_record(tmp_path / "suite")
    file = tmp_path / "sent.html"
    assert main(["report", str(record), "--html", str(file)]) == 0
    assert f"Report: {file}" in capsys.readouterr().out
    assert file.read_text().startswith("<!doctype html>")
    assert not (record / "report.html").exists()
    assert main(["report", str(record), "--html", str(tmp_path / "no" / "x.html")]) == 3
    assert "cannot be written" in capsys.readouterr().err
