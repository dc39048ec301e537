"""Time to start, in bare interpreter starts (`python -c pass`), processor time, paired in turn.

    python tests/benchmarks/startup.py

Budgets: 5 for --help, 15 for a compile of a library wheel, 40 for the console until its first page
stands in a terminal of 80 columns. What reads the bench file behind that page, in a thread, is told
apart: until the bench is ready to turn, and until all that keys ask for is imported.
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
STAGES = ("first page", "ready", "all")
CONSOLE = """
import os, time
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
from pathlib import Path
from edgewheel.cli.console import console

def shown():
    strips = app.screen._compositor.render_strips()
    return "".join(segment.text for strip in strips for segment in strip)

def opened():
    print(time.process_time())
    assert "PARK" in shown() and "Faults" in shown()
    read()

async def begun(desk):
    await begin(desk)
    assert "bounce" in shown()
    print(time.process_time())
    app.leave(0)

app = console(None, Path("runs"))
read, app._open = app._open, opened
begin, app._begin = app._begin, begun
app.run(headless=True, size=(80, 24))
print(time.process_time())
"""
"""The console without a terminal, left as soon as it is ready: seconds at each of `STAGES`."""


def seconds(*words: str) -> float:
    """Processor time of a child."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([*words], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def bare() -> float:
    """Processor time of an interpreter that does nothing."""
    return seconds(sys.executable, "-c", "pass")


def console() -> list[float]:
    """Processor time of the console until each of its stages."""
    words = [sys.executable, "-c", CONSOLE]
    return [float(word) for word in subprocess.check_output(words, text=True).split()]


def main() -> None:
    programs = {name: [COMMAND, *words] for name, words in COMMANDS.items()}
    for name, words in programs.items():
        pairs = [seconds(*words) / bare() for _ in range(PAIRS)]
        print(f"{name:10s} {statistics.median(pairs):5.1f} interpreter starts")
    rows = [[stage / bare() for stage in console()] for _ in range(PAIRS)]
    for name, column in zip(STAGES, zip(*rows, strict=True), strict=True):
        print(f"console, {name}: {statistics.median(column):5.1f} interpreter starts")


if __name__ == "__main__":
    main()
