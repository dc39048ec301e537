"""What the tests that repeat one thing have in common."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from edgewheel.bench.events import Finished
from edgewheel.bench.plan import Plan
from edgewheel.errors import BenchError
from edgewheel.search.qualify.bench import QualifyBench
from edgewheel.search.qualify.bounds import finite
from edgewheel.search.qualify.kinds import Figure
from edgewheel.search.qualify.shown import Shown

MEDIAN = 0.5
NINE_OF_TEN = 0.9

NOT_POSSIBLE = "Not possible: "
"""Begins what is said where the bench file does not give what a test needs."""

NO_COIL = (
    f"{NOT_POSSIBLE}no coil of the controller is captured. Wire its ignition outputs to the "
    "board's inputs and name them: 'signals: {outputs: {in1: {ignition: 1}}}'."
)
NO_REPORT = (
    f"{NOT_POSSIBLE}nothing that the controller says tells whether it has sync or how fast it "
    "turns. Name its fields: 'signals: {speed: ..., sync: ...}'."
)
NO_ADVANCE = (
    f"{NOT_POSSIBLE}nobody says at which advance the controller fires. Lock its timing and write "
    "'signals: {advance_deg: ...}', or name the field that tells it."
)


def sparks_needed(bench: QualifyBench) -> str:
    """What lacks to see where sparks stand; empty if nothing does."""
    return "" if bench.plan.signals.sparks else NO_COIL


def reports_needed(bench: QualifyBench) -> str:
    """What lacks to hear of sync; empty if nothing does."""
    signals = bench.plan.signals
    return "" if signals.sync or signals.speed else NO_REPORT


def charging_level(plan: Plan, line: str) -> int:
    """The level of a coil's line while it charges."""
    return int(plan.signals.sparks[line].edge == "fall")


def whole(finished: Finished | None) -> bool:
    """Whether a trial was played to its end; False if it was stopped. Raises BenchError."""
    if finished is None or finished.aborted:
        return False
    if not finished.verified:
        raise BenchError(f"The bench failed in a trial: {finished.detail}")
    return True


def points(x: Figure, y: Figure, trials: Sequence[Shown]) -> dict[str, Any]:
    """Evidence: two figures of every trial."""
    drawn = [
        {"x": trial.figures[x.name], "y": finite(trial.figures[y.name]), "passed": trial.passed}
        for trial in trials
        if x.name in trial.figures and y.name in trial.figures
    ]
    return {
        "kind": "points",
        "x": {"name": x.words, "unit": x.unit},
        "y": {"name": y.words, "unit": y.unit},
        "points": drawn,
    }


def sentences(trials: Sequence[Shown]) -> dict[str, Any]:
    """Evidence: what the trials showed in words, each sentence once, with how often."""
    counted: dict[str, int] = {}
    for trial in trials:
        told = f"{trial.detail} (it says: {trial.reason})" if trial.reason else trial.detail
        counted[told] = counted.get(told, 0) + 1
    often = sorted(counted.items(), key=lambda item: -item[1])
    return {"kind": "words", "words": [f"{count} times: {told}" for told, count in often]}
