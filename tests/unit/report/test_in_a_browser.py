"""The report opened in a headless Chromium, as somebody who was sent it would."""

import pytest

from browser import Browser, find
from edgewheel.report.read import read_report
from edgewheel.report.writing import write_html
from records import HOSTILE, bench_file, made_by, suite_record

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(find() is None, reason="no Chromium: apt-get install chromium"),
]
READY = "document.documentElement.dataset.ready === 'yes'"
SEEN = """
[...document.querySelectorAll('.drawing svg, .wheel img')].map(one => {
  const box = one.getBoundingClientRect();
  return [box.left, box.right, box.height];
})
"""
CUT_OFF = """
[...document.querySelectorAll('.drawing svg')].flatMap(picture => {
  const whole = picture.getBoundingClientRect();
  const isOut = box => box.width && (box.left < whole.left - 1 || box.right > whole.right + 1
                                     || box.top < whole.top - 1 || box.bottom > whole.bottom + 1);
  const words = [...picture.querySelectorAll('text')];
  return words.filter(one => isOut(one.getBoundingClientRect())).map(one => one.textContent);
})
"""
LIVE = "document.querySelectorAll('.drawing .live svg').length"


@pytest.fixture(scope="module")
def browser():
    with Browser() as one:
        yield one


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """The pages of a sweep whose name would run, and of a suite whose trials would."""
    folder = tmp_path_factory.mktemp("sent")
    sweep = made_by(folder, "sweep", str(bench_file(folder, f"Fan 3 {HOSTILE}")))
    found = {"sweep": folder / "sweep.html", "suite": folder / "suite.html"}
    write_html(read_report(sweep), found["sweep"])
    write_html(read_report(suite_record(folder / "suite")), found["suite"])
    return found


def assert_quiet(browser, page):
    """Nothing was complained of, and nothing asked for but the file itself."""
    assert browser.complaints == []
    asked = [url for url in browser.requests if not url.startswith("data:")]
    assert asked == [page.resolve().as_uri()]
    assert browser.value("typeof window.hostile") == "undefined"


@pytest.mark.parametrize("name", ["sweep", "suite"])
@pytest.mark.parametrize("width", [390, 900, 1400])
def test_pictures_are_there_at_every_width(browser, pages, name, width):
    browser.look(width=width)
    browser.open(pages[name], READY)
    drawn = browser.value(SEEN)
    assert len(drawn) == {"sweep": 4, "suite": 3}[name]
    assert browser.value(LIVE) == 3
    for left, right, height in drawn:
        assert 0 <= left < right <= width
        assert height > 100
    assert [words for words in browser.value(CUT_OFF) if "<script" not in words] == []
    assert browser.value("document.documentElement.scrollWidth") == width
    assert_quiet(browser, pages[name])


def test_zoom_and_read_out(browser, pages):
    browser.look(width=1100)
    browser.open(pages["sweep"], READY)
    domain = (
        "[...document.querySelector('.picture').querySelectorAll('.role-axis-label text')]"
        ".map(one => one.textContent).sort().join(' ')"
    )
    whole = browser.value(domain)
    click = "[...document.querySelectorAll('.zoom button')].find(one => one.textContent === '{}')"
    browser.value(click.format("+") + ".click()")
    browser.until(f"{domain} !== {whole!r}")
    browser.value(click.format("Whole") + ".click()")
    browser.until(f"{domain} === {whole!r}")
    marks = "document.querySelectorAll('.picture')[0].querySelectorAll('.mark-symbol path')"
    browser.value(f"{marks}[0].scrollIntoView({{block: 'center'}})")
    place = browser.value(
        f"(() => {{ const box = {marks}[0].getBoundingClientRect();"
        "return [box.x + box.width / 2, box.y + box.height / 2]; })()"
    )
    browser.call("Input.dispatchMouseEvent", type="mouseMoved", x=place[0], y=place[1])
    tip = "document.getElementById('vg-tooltip-element')"
    browser.until(f"{tip} && {tip}.classList.contains('visible')")
    assert "5,000" in browser.value(f"{tip}.textContent")
    assert_quiet(browser, pages["sweep"])


def test_dark_light_and_paper(browser, pages):
    paper = "getComputedStyle(document.body).backgroundColor"
    ink = "getComputedStyle(document.querySelector('.drawing .role-axis-label text')).fill"
    browser.look(dark=True)
    browser.open(pages["sweep"], READY)
    dark = browser.value(f"[{paper}, {ink}]")
    browser.value("document.querySelector('#tools select').value = 'light'")
    browser.value("document.querySelector('#tools select').dispatchEvent(new Event('change'))")
    light = browser.value(f"[{paper}, {ink}]")
    assert dark[0] != light[0] == "rgb(255, 255, 255)"
    assert dark[1] != light[1]
    browser.look(dark=True, paper=True)
    assert browser.value(paper) == "rgb(255, 255, 255)"
    assert browser.value("getComputedStyle(document.querySelector('.zoom')).display") == "none"
    browser.look()
    browser.value("localStorage.clear()")


def test_without_scripts_the_pictures_stay(browser, pages):
    browser.look(scripts=False)
    browser.open(pages["suite"])
    drawn = browser.value(SEEN)
    assert len(drawn) == 3 and browser.value(LIVE) == 0
    assert all(height > 100 for _, _, height in drawn)
    assert "could not be judged" in browser.value("document.body.innerText")
    assert_quiet(browser, pages["suite"])
    browser.look()
