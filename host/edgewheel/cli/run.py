"""`edgewheel run`: play a bench file once and judge what the controller says."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json
from edgewheel.cli.talk import Talk, stoppable

if TYPE_CHECKING:
    from edgewheel.bench.events import Event
    from edgewheel.bench.plan import Plan
    from edgewheel.bench.verdict import Verdict


READABLE = ("lines", "bytes", "records", "frames", "other_id", "unknown_id")
"""Counts of a reader that are no trouble; other units may well share a bus."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", type=Path, help="a bench file")
    add_run_arguments(parser)


def add_run_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of everything that makes a run folder."""
    parser.add_argument("--runs", type=Path, default=Path("runs"), help="where run folders go")
    parser.add_argument("--json", action="store_true", help="the result as JSON on stdout")
    parser.add_argument(
        "--dry-run", action="store_true", help="compile and estimate, open no port, write nothing"
    )


def run(args: argparse.Namespace) -> int:
    from edgewheel.bench.loader import load_plan
    from edgewheel.errors import UsageError

    plan = load_plan(args.bench)
    if not len(plan.signal.motion):
        raise UsageError(
            f"{args.bench} says nothing of a motion, so nothing would turn. "
            "Add 'motion: {segments: [{hold: 250, seconds: 5}]}', or use 'edgewheel sweep'."
        )
    return play(plan, args)


def play(plan: Plan, args: argparse.Namespace) -> int:
    """Play a plan with the options of :func:`add_run_arguments`; returns the exit code."""
    from edgewheel.bench.replay import what_is_missing
    from edgewheel.bench.runner import Runner
    from edgewheel.bench.unwired import unwired
    from edgewheel.cli.reporting import leave_junit

    for remark in (*unwired(plan), *what_is_missing(plan), *plan.moved_crossings):
        print(remark, file=sys.stderr)
    if args.dry_run:
        return dry_run(plan, args.json)
    talk = Talk()
    runner = Runner(plan, args.runs)
    runner.summary |= {"kind": "run", "repeat": talk.keep(runner.folder, args.typed)}
    with stoppable(runner.rig.abort):
        for event in runner.events():
            show(talk, event)
    talk.done()
    leave_junit(runner.folder, talk)
    verdict = runner.verdict
    if args.json:
        data = {"schema": 1, "folder": str(runner.folder), **verdict.as_data()}
        print_json(data)
    else:
        talk.answer(f"{plan.name}: {verdict.outcome}. {_sentence(verdict.detail)}")
        talk.answer(f"Record: {runner.folder}")
    return exit_code(verdict)


def show(talk: Talk, event: Event) -> None:
    """Tell a person what happens."""
    from edgewheel.bench.events import Cut, Progress, SyncGained, SyncLost, Understood

    if isinstance(event, Progress):
        talk.progress(event.seconds / event.of_seconds, f"{event.rpm:6.0f} rpm")
    elif isinstance(event, SyncGained):
        talk.say(f"{event.seconds:9.3f} s  {event.rpm:6.0f} rpm  sync")
    elif isinstance(event, SyncLost):
        reason = f" (it says: {event.reason})" if event.reason else ""
        talk.say(f"{event.seconds:9.3f} s  {event.rpm:6.0f} rpm  sync lost: {event.detail}{reason}")
    elif isinstance(event, Cut):
        what = "sparks are back" if event.sparks else "sparks are cut, sync and speed are right"
        talk.say(f"{event.seconds:9.3f} s  {event.rpm:6.0f} rpm  {what}")
    elif isinstance(event, Understood):
        unread = {kind: n for kind, n in event.counts.items() if n and kind not in READABLE}
        if unread:
            told = ", ".join(f"{n} {kind.replace('_', ' ')}" for kind, n in unread.items())
            talk.say(f"Of what the controller said, not all could be read: {told}.")


def exit_code(verdict: Verdict) -> int:
    """What the shell learns of a verdict."""
    from edgewheel.bench.verdict import Outcome

    return {
        Outcome.PASSED: ExitCode.PASSED,
        Outcome.FAILED: ExitCode.FAILED,
        Outcome.ERROR: ExitCode.BENCH,
        Outcome.ABORTED: ExitCode.INTERRUPTED,
    }[verdict.outcome]


def dry_run(plan: Plan, as_json: bool) -> int:
    """Compile the plan, count and estimate; opens nothing and writes nothing."""
    from edgewheel.edges.pins import PinMaker
    from edgewheel.fault.pipeline import Pipeline

    pipeline = Pipeline(plan.signal, plan.board.tick_hz, plan.number_lines)
    stage = plan.output_stage(plan.board.tick_hz)
    lead_ticks = plan.board.tick_hz // 1000 + stage.longest_ticks
    if plan.feed is not None and plan.supply is not None:
        lead_ticks += round(plan.feed.lead_s * plan.board.tick_hz)
    maker: PinMaker
    maker, chunks = pipeline.pins(stage, lead_ticks, 5, plan.supply)
    transitions = sum(len(chunk) for chunk in chunks)
    seconds = float(plan.signal.motion.end_s)
    data = {
        "name": plan.name,
        "wheel": plan.wheel.name,
        "seconds": seconds,
        "transitions": transitions,
        "moved_apart": maker.moves.count,
        "fault_edits": {name: changes.count for name, changes in pipeline.changes.items()},
    }
    if as_json:
        print_json({"schema": 1, **data})
    else:
        for key, value in data.items():
            print(f"{key:12s} {value}")
    print("nothing was opened, nothing was written", file=sys.stderr)
    return ExitCode.PASSED


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")
