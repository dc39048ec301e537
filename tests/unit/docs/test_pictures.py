"""The README's pictures are what the project draws today."""

from pathlib import Path

from edgewheel.cli.main import main

DOCS = Path(__file__).parents[3] / "host" / "docs"
WHEEL = "60-minus-2-half-moon-cam"
MEND = f"draw it anew: edgewheel draw {WHEEL} --svg host/docs/sixty-minus-two.svg"


def test_the_wheel_of_the_readme_is_not_stale(tmp_path):
    assert main(["draw", WHEEL, "--svg", str(tmp_path / "wheel.svg")]) == 0
    drawn = (tmp_path / "wheel.svg").read_text()
    assert drawn == (DOCS / "sixty-minus-two.svg").read_text(), MEND
