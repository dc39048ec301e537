"""The live bench at 5,000 captured edges a second for a minute: nothing lost, and what it takes.

Run: .venv/bin/python tests/benchmarks/live_5000.py [SECONDS]
"""

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from live_load import load


def main():
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    with tempfile.TemporaryDirectory() as folder:
        on_wire, recorded, missing, shares = load(Path(folder), seconds)
    print(f"{on_wire} edges on the wire, {recorded} in the record, {missing} gaps in {seconds:g} s")
    print("of a core, by thread: " + ", ".join(f"{n} {100 * s:.1f} %" for n, s in shares.items()))


if __name__ == "__main__":
    main()
