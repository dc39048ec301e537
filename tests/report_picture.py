"""Makes host/docs/report.png: the first screen of the report on the demo's case.

.venv/bin/python tests/report_picture.py
"""

import os
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from browser import Browser
from edgewheel.cli.main import main

ROOT = Path(__file__).resolve().parents[1]
CASE = ROOT / "host" / "edgewheel" / "examples" / "frost-fan.yaml"
PICTURE = ROOT / "host" / "docs" / "report.png"
READY = "document.documentElement.dataset.ready === 'yes'"
WIDTH = 1000
LAST = "document.querySelectorAll('figure.picture')[1].querySelector('.drawing')"


def make() -> None:
    """Sweep the case, report on it, and take the picture down to the signal around the loss."""
    with TemporaryDirectory() as folder:
        os.chdir(folder)
        shutil.copy(CASE, CASE.name)
        main(["sweep", CASE.name])
        (run,) = Path("runs").iterdir()
        main(["report", str(run)])
        with Browser() as browser:
            browser.look(width=WIDTH)
            browser.open(run / "report.html", READY)
            height = browser.value(f"{LAST}.getBoundingClientRect().bottom + window.scrollY + 6")
            view = {"x": 0, "y": 0, "width": WIDTH, "height": height}
            browser.screenshot(PICTURE, whole=True, clip=view)
        os.chdir(ROOT)
    print(f"{PICTURE.relative_to(ROOT)}: {PICTURE.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    make()
