"""How long an import takes, as a multiple of numpy's own reader of the same file in the same run.

    python tests/benchmarks/import_time.py [ROWS]

Prints ratios; the aim is 3 at the most. Memory is what the process took at its largest beyond what
it had before.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import wave
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from time import perf_counter

import numpy as np

from edgewheel.edges.captures.options import ReadOptions
from edgewheel.edges.captures.read import read_capture

TIMES = 3


def best_of(work: Callable[[], object]) -> float:
    """The least seconds of a few runs."""
    taken = []
    for _ in range(TIMES):
        begin = perf_counter()
        work()
        taken.append(perf_counter() - begin)
    return min(taken)


def signal(rows: int) -> np.ndarray:
    """A square wave of 40 samples with noise."""
    random = np.random.default_rng(1)
    return np.where(np.arange(rows) // 20 % 2, 4.5, 0.5) + random.normal(0, 0.1, rows)


def compare(name: str, ours: Callable[[], object], theirs: Callable[[], object]) -> None:
    numpy_s, own_s = best_of(theirs), best_of(ours)
    print(f"{name:28} {own_s:7.3f} s, numpy {numpy_s:7.3f} s, ratio {own_s / numpy_s:.2f}")


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        samples, edges, periods = (Path(folder) / name for name in ("s.csv", "e.csv", "p.txt"))
        table = np.stack([np.arange(rows) / 1e6, signal(rows)], axis=1)
        np.savetxt(samples, table, delimiter=",", fmt="%.6f", header="time,hall", comments="")
        compare("samples, time and voltage", lambda: read_capture(samples),
                lambda: np.loadtxt(samples, delimiter=",", skiprows=1))  # fmt: skip
        lines = [f"{1000 * n},crank,{n % 2}\n" for n in range(rows)]
        edges.write_text("tick,track,level\n" + "".join(lines))
        kind = [("tick", "i8"), ("track", "U8"), ("level", "u1")]
        compare("our edge table", lambda: read_capture(edges),
                lambda: np.loadtxt(edges, delimiter=",", skiprows=1, dtype=kind))  # fmt: skip
        values = np.where(np.arange(rows) % 58, 1000, 3000) + np.arange(rows) % 7
        np.savetxt(periods, values, fmt="%d")
        compare("tooth periods", lambda: read_capture(periods), lambda: np.loadtxt(periods))
        sound = Path(folder) / "s.wav"
        with wave.open(str(sound), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(192_000)
            block = ((signal(1_000_000) - 2.5) * 8000).astype("<i2").tobytes()
            for _ in range(10):
                file.writeframes(block)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        seconds = best_of(lambda: read_capture(sound, ReadOptions(filter_s=Fraction(0))))
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        print(f"sound, 10 million samples     {seconds:7.3f} s, {grown:.0f} MB more than before")


if __name__ == "__main__":
    main()
