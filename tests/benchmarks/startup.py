"""Time to start, in bare interpreter starts (`python -c pass`), processor time, paired in turn.

    python tests/benchmarks/startup.py

Budgets: 5 for --help, 15 for a compile of a library wheel.
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


def seconds(*words: str) -> float:
    """Processor time of a child."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([*words], check=True, capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    for name, words in COMMANDS.items():
        pairs = [
            seconds(COMMAND, *words) / seconds(sys.executable, "-c", "pass") for _ in range(PAIRS)
        ]
        print(f"{name:10s} {statistics.median(pairs):5.1f} interpreter starts")


if __name__ == "__main__":
    main()
