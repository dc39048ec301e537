"""The page about faults and its pictures are what the project would write now."""

from pathlib import Path
from xml.etree import ElementTree

import pytest

from edgewheel.cli.faults import write_page
from edgewheel.fault.examples import example
from edgewheel.fault.kinds import KINDS
from edgewheel.fault.picture import fault_svg

DOCS = Path(__file__).parents[3] / "host" / "docs"


def test_the_committed_page_and_pictures_are_fresh(tmp_path):
    write_page(tmp_path)
    written = sorted(path.relative_to(tmp_path) for path in tmp_path.rglob("*.*"))
    assert len(written) == len(KINDS) + 1
    for path in written:
        told = "run 'edgewheel faults --svg host/docs'"
        assert (DOCS / path).read_text("utf-8") == (tmp_path / path).read_text("utf-8"), told
    assert {path.stem for path in (DOCS / "faults").iterdir()} == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_shows_both_signals_and_marks_what_differs(kind):
    picture = ElementTree.fromstring(fault_svg(example(kind)))
    classes = [element.get("class", "") for element in picture.iter()]
    assert classes.count("ink") == 4
    assert classes.count("changed") > 0
    assert classes.count("flag") + classes.count("gone") > 0
