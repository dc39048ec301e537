"""The timing of recorded runs for JSON."""

from __future__ import annotations

from dataclasses import asdict
from math import isnan
from typing import Any

from edgewheel.bench.timing.separate import Separation
from edgewheel.search.timing import Timing


def timing_data(timing: Timing) -> dict[str, Any]:
    """The result for JSON; what is not known is null."""
    return {
        "schema": 1,
        "signs": "degrees before TDC; error is measured minus commanded, positive early",
        "rows": [{key: _plain(value) for key, value in asdict(row).items()} for row in timing.rows],
        "ignition": _separation(timing.ignition),
        "injection": _separation(timing.injection) if timing.injection else None,
        "wrong_cylinder": [asdict(misfit) for run in timing.runs for misfit in run.misfits],
        "remarks": [remark for run in timing.runs for remark in run.remarks],
    }


def _separation(found: Separation) -> dict[str, Any]:
    return asdict(found)


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and isnan(value) else value
