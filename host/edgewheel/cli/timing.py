"""`edgewheel timing`: the controller's outputs against the true crank angle, from recorded runs."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgewheel.cli.exits import ExitCode

if TYPE_CHECKING:
    from edgewheel.bench.timing.separate import Separation
    from edgewheel.search.timing import Timing


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("runs", type=Path, nargs="+", metavar="RUN", help="a run folder")
    parser.add_argument("--json", action="store_true", help="the result as JSON on stdout")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="draw errors over speed")


def run(args: argparse.Namespace) -> int:
    from edgewheel.search.recorded import RecordedRun
    from edgewheel.search.timing import timing_of
    from edgewheel.search.timing_drawing import drawing
    from edgewheel.search.timing_page import page

    timing = timing_of([RecordedRun(folder) for folder in args.runs])
    if args.json:
        print(json.dumps(timing_data(timing), indent=2))
    else:
        print(page(timing), end="")
    if args.svg:
        args.svg.write_text(drawing(timing), encoding="utf-8")
        print(f"drawn: {args.svg}", file=sys.stderr)
    return ExitCode.PASSED


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
