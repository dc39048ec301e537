"""`edgewheel sweep`: up and down a staircase of speeds, to where sync drops and comes back."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json
from edgewheel.cli.reporting import leave_junit
from edgewheel.cli.run import add_run_arguments, dry_run, exit_code
from edgewheel.cli.talk import Talk, stoppable

if TYPE_CHECKING:
    from edgewheel.search.sweep import PointResult, SweepResult


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", type=Path, help="a bench file with a 'sweep:'")
    add_run_arguments(parser)


def run(args: argparse.Namespace) -> int:
    from edgewheel.bench.events import Progress
    from edgewheel.bench.loader import load_plan
    from edgewheel.search.sweep import Sweep, sweep_plan

    plan = load_plan(args.bench)
    if args.dry_run:
        return dry_run(sweep_plan(plan)[0], args.json)
    sweep = Sweep(plan, args.runs)
    talk = Talk()
    sweep.runner.summary["repeat"] = talk.keep(sweep.runner.folder, args.typed)
    with stoppable(sweep.runner.rig.abort):
        for item in sweep.items():
            if isinstance(item, Progress):
                talk.progress(item.seconds / item.of_seconds, f"{item.rpm:6.0f} rpm")
            else:
                talk.say(point_line(item))
    talk.done()
    leave_junit(sweep.runner.folder, talk)
    result = sweep.result
    if args.json:
        print_json(sweep_data(result, str(sweep.runner.folder)))
    else:
        talk.answer(f"{plan.name}: {result.sentence}")
        talk.answer(f"Record: {sweep.runner.folder}")
    bench_code = exit_code(sweep.runner.verdict)
    if bench_code in (ExitCode.BENCH, ExitCode.INTERRUPTED):
        return bench_code
    return ExitCode.PASSED if result.passed else ExitCode.FAILED


def point_line(result: PointResult) -> str:
    """One point of the staircase on one line."""
    held = "sync" if result.synced else "NO SYNC"
    line = f"{result.point.way:4s} {float(result.point.rpm):7.0f} rpm  {held}"
    if result.lost is not None:
        reason = f" (it says: {result.lost.reason})" if result.lost.reason else ""
        line += f"  lost at {result.lost.rpm:.0f} rpm: {result.lost.detail}{reason}"
    return line


def sweep_data(result: SweepResult, folder: str) -> dict[str, Any]:
    """The result for JSON."""

    def rpm(value: object) -> float | None:
        return None if value is None else float(value)  # type: ignore[arg-type]

    return {
        "schema": 1,
        "folder": folder,
        "highest_rpm": rpm(result.highest_rpm),
        "dropped_rpm": rpm(result.dropped_rpm),
        "back_rpm": rpm(result.back_rpm),
        "detail": result.loss.detail if result.loss else "",
        "reason": result.loss.reason if result.loss else "",
        "points": [
            {
                "way": point.point.way,
                "rpm": float(point.point.rpm),
                "synced": point.synced,
                "detail": point.lost.detail if point.lost else "",
                "reason": point.lost.reason if point.lost else "",
            }
            for point in result.points
        ],
    }
