"""Time to start, in bare interpreter starts (`python -c pass`), processor time, paired in turn.

    python tests/benchmarks/startup.py

Budgets: 5 for --help, 15 for a compile of a library wheel, 40 for the console until its first page
stands in a terminal of 80 columns.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
from pathlib import Path

PAIRS = 9
COMMAND = str(Path(sys.executable).with_name("edgewheel"))
COMMANDS = {
    "--help": ["--help"],
    "compile": ["compile", "60-minus-2-half-moon-cam", "--rpm", "250", "--turns", "2"],
}
FIRST_PAGE = """
import os
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
from pathlib import Path
from edgewheel.cli.console import console
async def see(pilot):
    await pilot.pause()
    assert pilot.app.page is not None and pilot.app.page.panes
    pilot.app.leave(0)

app = console(None, Path("runs"))
app.run(headless=True, size=(80, 24), auto_pilot=see)
"""
"""The first page, drawn without a terminal, and the end at once."""


def seconds(*words: str) -> float:
    """Processor time of a child."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([*words], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    programs = {name: [COMMAND, *words] for name, words in COMMANDS.items()}
    programs["console"] = [sys.executable, "-c", FIRST_PAGE]
    for name, words in programs.items():
        pairs = [seconds(*words) / seconds(sys.executable, "-c", "pass") for _ in range(PAIRS)]
        print(f"{name:10s} {statistics.median(pairs):5.1f} interpreter starts")


if __name__ == "__main__":
    main()
