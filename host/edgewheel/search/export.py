"""A recorded run as tables on one time base: seconds after table tick 0.

Reports, captured outputs, findings and the true crank are told apart by their source; CSV and MDF
are written from the same series.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from edgewheel.bench.timing.crank import crank_at
from edgewheel.controller.lines import Value
from edgewheel.errors import BenchError, UsageError
from edgewheel.search.recorded import RecordedRun

if TYPE_CHECKING:
    from asammdf import MDF

Floats = npt.NDArray[np.float64]
CRANK_STEP_S = 0.01
MOST_CRANK_ROWS = 1_000_000
MDF_VERSION = "4.10"
UNITS = {"rpm": "rpm", "advance": "deg", "crank_angle": "deg", "crank_speed": "rpm"}


@dataclass(frozen=True, eq=False)
class Series:
    """One signal: `seconds` (n,) ascending, and `values` (n,), numbers or words."""

    source: str
    name: str
    seconds: Floats
    values: npt.NDArray[np.float64] | npt.NDArray[np.str_]

    @property
    def is_text(self) -> bool:
        return self.values.dtype.kind == "U"


def series_of(run: RecordedRun) -> Iterator[Series]:
    """Every signal of a run. A field that is sometimes a word is words throughout."""
    yield from _crank(run)
    yield from _reports(run)
    for line, (seconds, levels) in run.pulses().items():
        yield Series("output", line, seconds, levels.astype(np.float64))
    findings = run.findings()
    if findings:
        words = [f"{f.kind}: {f.detail}" if f.detail else f.kind for f in findings]
        yield Series("finding", "finding", np.array([f.seconds for f in findings]), np.array(words))


def write_csv(run: RecordedRun, file: IO[str]) -> int:
    """Rows `seconds,source,name,value`, ascending in time; returns how many.

    Seconds have nanoseconds, more than any board's tick.
    """
    series = list(series_of(run))
    order = np.argsort(np.concatenate([one.seconds for one in series]), kind="stable")
    which = np.repeat(np.arange(len(series)), [len(one.seconds) for one in series])
    within = np.concatenate([np.arange(len(one.seconds)) for one in series])
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(("seconds", "source", "name", "value"))
    for row in order:
        one, at = series[which[row]], within[row]
        value: Any = one.values[at] if one.is_text else f"{one.values[at]:.10g}"
        writer.writerow((f"{one.seconds[at]:.9f}", one.source, one.name, value))
    return len(order)


def write_mdf(run: RecordedRun, file: Path) -> int:
    """ASAM MDF 4.10 by asammdf, the inputs of the run attached; returns the number of samples.

    One channel group a series, for each has times of its own; times before table tick 0 are
    negative. Raises UsageError where asammdf is missing, BenchError if the disk does not take it.
    """
    try:
        from asammdf import MDF, Signal
    except ImportError as error:
        raise UsageError(
            "Writing MDF needs asammdf. Install it with: pip install 'edgewheel[mdf]'."
        ) from error
    samples = 0
    with MDF(version=MDF_VERSION) as mdf:
        for one in series_of(run):
            values = (
                np.char.encode(one.values.astype(np.str_), "utf-8") if one.is_text else one.values
            )
            signal = Signal(
                samples=values,
                timestamps=one.seconds,
                name=one.name,
                unit=UNITS.get(one.name, ""),
                encoding="utf-8" if one.is_text else None,
            )
            mdf.append([signal], acq_name=one.source, comment=one.source)
            samples += len(one.seconds)
        _attach_inputs(mdf, run)
        _save(mdf, file)
    return samples


def _save(mdf: MDF, file: Path) -> None:
    """The file, there only when it is whole; asammdf would change another suffix."""
    part = file.with_name(f".part-{file.name}")
    try:
        mdf.save(part, overwrite=True)
        part.replace(file)
    except OSError as error:
        raise BenchError(
            f"{file} cannot be written: {error.strerror or error}. Give another file."
        ) from error
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def _attach_inputs(mdf: MDF, run: RecordedRun) -> None:
    for name, text in run.plan.inputs:
        mdf.attach(text.encode(), file_name=name, mime="text/plain")


def _crank(run: RecordedRun) -> Iterator[Series]:
    """The true crank, a hundred times a second, less often in runs of hours."""
    motion = run.plan.signal.motion
    end_s = float(motion.end_s)
    steps = int(min(end_s / CRANK_STEP_S, MOST_CRANK_ROWS))
    seconds = np.linspace(0.0, end_s, steps + 1)
    crank = crank_at(motion, seconds)
    yield Series("crank", "crank_angle", seconds, crank.deg % 720.0)
    yield Series("crank", "crank_speed", seconds, crank.rpm)


def _reports(run: RecordedRun) -> Iterator[Series]:
    columns: dict[str, tuple[list[float], list[Value]]] = {}
    for seconds, fields in run.reports():
        for name, value in fields.items():
            moments, values = columns.setdefault(name, ([], []))
            moments.append(seconds)
            values.append(value)
    for name, (moments, values) in columns.items():
        words = any(isinstance(value, str) for value in values)
        column = np.array([_word(v) for v in values]) if words else np.array(values, np.float64)
        yield Series("report", name, np.array(moments), column)


def _word(value: Value) -> str:
    return value if isinstance(value, str) else f"{value:.10g}"
