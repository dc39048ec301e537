"""Runs ngspice and brings back waveforms.

SPDX-License-Identifier: CERN-OHL-P-2.0

ngspice ends with code 0 after many a failure, so nothing here trusts it: what it says is read,
and a run must have reached its end.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from simulate.models import models

Array = NDArray[np.float64]

_COMPLAINTS = re.compile(
    r"timestep too small|singular matrix|aborted|unknown subckt|can't find model|"
    r"no such|^error|fatal|failed",
    re.IGNORECASE | re.MULTILINE,
)
# Dynamic gmin stepping fails now and then before another way to the operating point works.
_HARMLESS = re.compile(r"(gmin|source) stepping failed", re.IGNORECASE)


class SimulationError(Exception):
    """ngspice did not do what the deck asked for; the message holds what it said."""


@dataclass(frozen=True)
class Waves:
    """Vectors by name: `time` (s) or `frequency` (Hz), `v(net)` in volts, currents in amperes.

    The vectors of an operating point have one sample.
    """

    vectors: dict[str, Array]

    def __getitem__(self, name: str) -> Array:
        return self.vectors[name]

    @property
    def time(self) -> Array:
        return self.vectors["time"]

    def last(self, name: str) -> float:
        return float(self.vectors[name][-1])

    def at(self, name: str, seconds: float) -> float:
        return float(np.interp(seconds, self.time, self.vectors[name]))


def run(deck: str, analysis: str, save: str = "all", device_models: str | None = None) -> Waves:
    """One analysis of a deck; SimulationError unless it came to its end.

    `analysis` is a SPICE line such as `tran 10n 100u`.
    """
    text = (
        f"* {analysis}\n{models() if device_models is None else device_models}\n{deck}\n"
        f".options method=gear reltol=1e-4\n.save {save}\n.{analysis}\n.end\n"
    )
    with tempfile.TemporaryDirectory() as folder:
        source, raw = Path(folder, "deck.cir"), Path(folder, "waves.raw")
        source.write_text(text)
        done = subprocess.run(
            ["ngspice", "-b", "-r", str(raw), str(source)],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        said = done.stdout + done.stderr
        if done.returncode or not raw.exists() or _COMPLAINTS.search(_HARMLESS.sub("", said)):
            raise SimulationError(f"ngspice failed on `{analysis}`:\n{said[-2000:]}")
        waves = _read(raw.read_bytes())
    _must_have_ended(waves, analysis)
    return waves


def _must_have_ended(waves: Waves, analysis: str) -> None:
    words = analysis.split()
    if words[0] == "tran" and waves.time[-1] < 0.999 * seconds(words[2]):
        raise SimulationError(f"`{analysis}` stopped at {waves.time[-1]:g} s.")


def seconds(text: str) -> float:
    """A SPICE number of seconds, such as 20u."""
    scale = {"n": 1e-9, "u": 1e-6, "m": 1e-3}
    return float(text[:-1]) * scale[text[-1]] if text[-1] in scale else float(text)


def _read(raw: bytes) -> Waves:
    """The vectors of a raw file (binary, as ngspice writes it), real or complex."""
    head, _, body = raw.partition(b"Binary:\n")
    lines = head.decode("ascii", "replace").splitlines()
    count = int(next(line for line in lines if line.startswith("No. Variables:")).split(":")[1])
    points = int(next(line for line in lines if line.startswith("No. Points:")).split(":")[1])
    start = lines.index("Variables:") + 1
    names = [line.split()[1].lower() for line in lines[start : start + count]]
    names = [re.sub(r"^i\((@.*)\)$", r"\1", name) for name in names]
    is_complex = "complex" in next(line for line in lines if line.startswith("Flags:"))
    sort = np.dtype(np.complex128 if is_complex else np.float64)
    if points == 0 or len(body) < points * count * sort.itemsize:
        raise SimulationError("ngspice wrote no waveforms.")
    values = np.frombuffer(body, sort, points * count).reshape(points, count).T
    return Waves({name: values[i].copy() for i, name in enumerate(names)})
