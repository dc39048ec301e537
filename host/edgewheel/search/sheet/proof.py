"""What recorded runs show of the sheet's lines."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from edgewheel.bench.plan import SimulatedController
from edgewheel.bench.record_folder import read_summary
from edgewheel.bench.rerun import plan_of_run
from edgewheel.bench.verdict import Outcome
from edgewheel.controller.sim.settings import ControllerSettings
from edgewheel.errors import BenchError, UsageError
from edgewheel.fault.bounce import Bounce
from edgewheel.fault.metal import ShiftedTrack
from edgewheel.search.axis import SPEED
from edgewheel.search.recorded import RecordedRun
from edgewheel.search.seek import SELDOM, safe_end
from edgewheel.search.sheet.model import Bound, Line
from edgewheel.search.timing import Timing, timing_of
from edgewheel.search.variant import cam_track
from edgewheel.wheel.landmarks import main_track

SETTINGS = "controller.settings."
MOST_WORDS = 2
CLEAR_DEG = 0.05
"""A reference angle that is off by less than this is right."""

BOUNCE, SHIFT = "bounce", "shift"
"""Causes of limits, see `FoundLimit`."""


@dataclass(frozen=True)
class FoundLimit:
    """A threshold on record: at `held` it did not fail, which it does `above` or below.

    Of a `gradual` one so few trials fail there that it is called safe. `cause` is what was varied,
    where that is a fault of which a line of the sheet speaks.
    """

    run: str
    address: str
    above: bool
    held: float
    trials: int
    cause: str = ""
    gradual: bool = False

    @property
    def source(self) -> str:
        """The run, and what its number rests on."""
        few = f", {100 * SELDOM:g} % fail there" if self.gradual else ""
        return f"run {self.run}, {self.trials} trials{few}"


@dataclass(frozen=True)
class PassedRun:
    """A run or sweep that passed; `settings` are those of a simulated controller."""

    run: str
    detail: str
    settings: ControllerSettings | None


@dataclass(frozen=True)
class Shown:
    """All that the given runs show; `timed` names those that the timing is of.

    Runs are called by their numbers, from 1 on; `runs` has their folders.
    """

    limits: tuple[FoundLimit, ...] = ()
    passed: tuple[PassedRun, ...] = ()
    timing: Timing | None = None
    timed: str = ""
    failed: tuple[str, ...] = ()
    runs: Mapping[str, str] = field(default_factory=dict)


NOTHING_SHOWN = Shown()


def read_runs(folders: Sequence[Path]) -> Shown:
    """What the folders of runs, sweeps and thresholds show. Raises UsageError for any other."""
    limits, passed, failed, runs = [], [], [], {}
    for number, folder in enumerate(folders, 1):
        summary = read_summary(folder)
        if isinstance(summary.get("threshold"), dict):
            limits += _limit(str(number), folder, summary)
            continue
        run = runs[str(number)] = RecordedRun(folder)
        if summary.get("outcome") == Outcome.PASSED:
            controller = run.plan.controller
            settings = controller.settings if isinstance(controller, SimulatedController) else None
            passed.append(PassedRun(str(number), str(summary.get("detail", "")), settings))
        elif summary.get("outcome") == Outcome.FAILED:
            failed.append(f"Run {number} failed: {summary.get('detail', '')}.")
    timing = _timing(list(runs.values()))
    return Shown(
        tuple(limits),
        tuple(passed),
        timing,
        " and ".join(runs) if timing else "",
        tuple(failed),
        {str(number): folder.name for number, folder in enumerate(folders, 1)},
    )


def _limit(number: str, folder: Path, summary: Mapping[str, Any]) -> list[FoundLimit]:
    """The limit that a threshold has found; none where none of what was tried is safe."""
    found = summary["threshold"]
    if found.get("threshold") is None:
        return []
    held = safe_end(found, float(summary.get("probability", 0.5)))
    if not found["from"] <= held <= found["to"]:
        return []
    trials = int(found["passed_trials"]) + int(found["failed_trials"])
    address = str(found["address"])
    cause = _cause(folder, str(summary.get("bench", "")), address)
    above, gradual = found["fails"] == "above", bool(found["spread"])
    return [FoundLimit(number, address, above, held, trials, cause, gradual)]


def _cause(folder: Path, bench: str, address: str) -> str:
    """What a number of a fault is about: `BOUNCE` of the crank, `SHIFT` of the cam, or nothing."""
    parts = address.split(".")
    if parts[0] != "faults" or len(parts) != 3:
        return ""
    plan = plan_of_run(folder, bench)
    fault, cam = plan.signal.faults.get(parts[1]), cam_track(plan.wheel)
    if isinstance(fault, ShiftedTrack) and cam is not None and fault.track == cam.name:
        return SHIFT
    on_crank = isinstance(fault, Bounce) and fault.track == main_track(plan.wheel).name
    return BOUNCE if on_crank and parts[2] in ("delay_us", "delay_percent") else ""


def _timing(runs: Sequence[RecordedRun]) -> Timing | None:
    """The timing of the runs; None where no output of theirs was captured whole."""
    try:
        return timing_of(runs) if runs else None
    except (UsageError, BenchError):
        return None


def with_runs(line: Line, shown: Shown) -> Line:
    """A line with what the runs show of it."""
    for limit in shown.limits:
        line = _with_limit(line, limit)
    if shown.timing is not None:
        line = _with_timing(line, shown.timing, shown.timed)
    for run in shown.passed:
        if run.settings is not None and _is_within(line, run.settings):
            line = _seen(line, f"run {run.run} held sync with {_words(line, run.settings)}")
    return line


def with_settings(line: Line, settings: ControllerSettings | None) -> Line:
    """A line with a word on what a simulated controller is set to, where that is not within."""
    if settings is None or not line.typed or _is_within(line, settings):
        return line
    if line.other_way and not any(setting(settings, address) for address in line.typed):
        return line
    note = f"NOT SO in the bench file's controller: {_words(line, settings)}."
    return replace(line, notes=(*line.notes, note))


def remarks_of(shown: Shown) -> Iterator[str]:
    """What the runs say of the controller as it was set, whatever it was set to."""
    for run in shown.passed:
        yield f"Run {run.run} passed with the controller as it was set then: {run.detail}."
    yield from shown.failed


def setting(settings: ControllerSettings, address: str) -> Any:
    """The value at an address such as `crank.edge`, None where there is none."""
    value: Any = settings
    for name in address.split("."):
        value = getattr(value, name, None)
    return list(value) if isinstance(value, tuple) else value


def _with_limit(line: Line, limit: FoundLimit) -> Line:
    source = limit.source
    own = limit.address.removeprefix(SETTINGS) in line.typed and SETTINGS in limit.address
    if own or (line.key == "speed" and limit.address == SPEED):
        return _bounded(line, limit, source)
    way = "up" if limit.above else "down"
    held = f"{source}: as it was set, held {limit.address} {way} to {limit.held:.4g}"
    if line.key == "blanking_percent" and limit.cause == BOUNCE:
        return _seen(line, held)
    if limit.cause != SHIFT:
        return line
    if line.key == "cam_phase" and line.value is not None:
        return _bounded(line, limit, source)
    if line.key == ("cam_window_to" if limit.above else "cam_window_from"):
        return _seen(line, held)
    return line


def _bounded(line: Line, limit: FoundLimit, source: str) -> Line:
    """The line with a measured end; its value moves if that end has passed it."""
    before = line.high if limit.above else line.low
    bound = Bound(limit.held, before.beyond if before else "sync is lost", source)
    line = replace(line, high=bound) if limit.above else replace(line, low=bound)
    if not isinstance(line.value, float) or _inside(line, line.value):
        return line
    if line.key == SPEED:
        note = "SYNC IS LOST below the highest speed of the motions."
        return replace(line, notes=(*line.notes, note))
    low, high = line.low, line.high
    if high is None or (low is not None and low.value >= high.value):
        return replace(line, notes=(*line.notes, "The run and the computation contradict."))
    value = float(f"{_between(low.value if low else 0.0, high.value, line.unit):.4g}")
    typed = {key: value if was == line.value else was for key, was in line.typed.items()}
    return replace(line, value=value, typed=typed)


def _between(low: float, high: float, unit: str) -> float:
    """Where a value is put: half way of angles, and where nothing is known of the lower end; the
    geometric mean of all else.
    """
    if unit == "deg" or low <= 0:
        return (low + high) / 2
    return math.sqrt(low * high)


def _with_timing(line: Line, timing: Timing, runs: str) -> Line:
    found = timing.ignition
    if line.key == "crank_edge" and found.edge_share is not None:
        share = f"{found.edge_share.value:.2f} +- {max(found.edge_share.uncertainty, 0.01):.2f}"
        if found.edge == "right":
            return _seen(line, f"run {runs}: the error moves by {share} of the tooth width")
        told = (
            "the wrong edge is counted" if found.edge == "wrong" else "not clear which is counted"
        )
        return replace(line, notes=(*line.notes, f"Run {runs}: {told} ({share})."))
    if line.key == "reference" and found.reference_deg is not None:
        error = found.reference_deg
        spread = f"{round(error.value, 2) + 0.0:+.2f} +- {max(error.uncertainty, 0.01):.2f} deg"
        if abs(error.value) <= max(error.uncertainty, CLEAR_DEG):
            return _seen(line, f"run {runs}: sparks are right to {spread}")
        note = f"Run {runs}: as it was set, add {error.value:+.2f} ({spread})."
        return replace(line, notes=(*line.notes, note))
    if line.key == "latency" and found.delay_us is not None:
        delay, spread_us = found.delay_us.value, found.delay_us.uncertainty
        low, high = (Bound(delay + way * spread_us, "", f"run {runs}") for way in (-1, 1))
        value = round(delay, 2) + 0.0
        return replace(line, value=value, low=low, high=high, shown=(f"run {runs}",), ask="")
    return line


def _seen(line: Line, words: str) -> Line:
    return replace(line, shown=(*line.shown, words))


def _is_within(line: Line, settings: ControllerSettings) -> bool:
    """Whether a simulated controller is set as the line wants it, or between its ends."""
    if not line.typed:
        return False
    return all(
        _fits(line, value, setting(settings, address)) for address, value in line.typed.items()
    )


def _fits(line: Line, wanted: Any, value: Any) -> bool:
    if isinstance(wanted, float) and isinstance(value, float) and wanted == line.value:
        return _inside(line, value)
    if isinstance(wanted, str) and value is None:
        return True  # the kind of a wheel is its class
    return bool(wanted == value)


def _inside(line: Line, value: float) -> bool:
    low = line.low.value if line.low else -math.inf
    high = line.high.value if line.high else math.inf
    return low < value < high


def _words(line: Line, settings: ControllerSettings) -> str:
    values = {address: setting(settings, address) for address in line.typed}
    known = [f"{address} {value}" for address, value in values.items() if value is not None]
    return ", ".join(known[:MOST_WORDS])
