"""`edgewheel diagnose`: which setting of the controller is wrong, by varying the signal."""

from __future__ import annotations

import argparse
import json
import platform
from fractions import Fraction
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.reporting import leave_junit
from edgewheel.cli.searching import add_search_arguments
from edgewheel.cli.talk import Talk, stoppable

if TYPE_CHECKING:
    from edgewheel.bench.plan import Plan
    from edgewheel.bench.search_record import SearchRecord
    from edgewheel.search.diagnose import Diagnosis, Step

WIDTH = 96
LEAST_RPM, MOST_RPM = 60, 20_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", type=Path, help="a bench file whose wheel is the engine's own")
    parser.add_argument(
        "--speed",
        type=int,
        default=1000,
        metavar="RPM",
        help="the speed of every try that is not about speed (default 1000)",
    )
    add_search_arguments(parser)


def run(args: argparse.Namespace) -> int:
    from edgewheel.bench.loader import load_plan
    from edgewheel.bench.record import run_folder
    from edgewheel.bench.search_record import SearchRecord
    from edgewheel.errors import UsageError
    from edgewheel.search.diagnose import Diagnose
    from edgewheel.search.diagnosing import Player
    from edgewheel.search.trials import SearchStopped

    if not LEAST_RPM <= args.speed <= MOST_RPM:
        raise UsageError(f"--speed {args.speed}: write {LEAST_RPM} to {MOST_RPM} rpm.")
    plan = load_plan(args.bench)
    talk = Talk()
    steps: list[Step] = []
    with SearchRecord(args.resume or run_folder(args.runs, plan.name)) as record:
        meta = _meta(plan, args.speed) | {"repeat": talk.keep(record.folder, args.typed)}
        _begin(record, plan, meta)
        player = Player(plan, record)
        diagnose = Diagnose(plan, player, args.speed)
        with stoppable(player.stop):
            try:
                for step in diagnose.steps():
                    steps.append(step)
                    talk.say(_line(step))
            except SearchStopped:
                talk.say(
                    f"stopped after {diagnose.tries} tries. The same command with "
                    f"--resume {record.folder} goes on from there"
                )
                return ExitCode.INTERRUPTED
        diagnosis = diagnose.diagnosis
        assert diagnosis is not None
        record.finish({**meta, "diagnosis": _data(diagnosis, steps)})
    leave_junit(record.folder, talk)
    if args.json:
        data = {"schema": 1, "folder": str(record.folder), **_data(diagnosis, steps)}
        print(json.dumps(data, indent=2))
    else:
        talk.answer(f"{plan.name}: {told(diagnosis, args.speed)}")
        talk.answer(f"Record: {record.folder}")
    sound = diagnosis.complete and not diagnosis.findings
    return ExitCode.PASSED if sound else ExitCode.FAILED


def _meta(plan: Plan, rpm: int) -> dict[str, str]:
    from edgewheel import __version__
    from edgewheel.search.trial import RunUp
    from edgewheel.search.trials import FINGERPRINT, fingerprint

    return {
        "kind": "diagnose",
        "name": plan.name,
        "edgewheel": __version__,
        "python": platform.python_version(),
        "seed": str(plan.seed),
        "bench": plan.inputs[0][0] if plan.inputs else "",
        FINGERPRINT: fingerprint(plan, RunUp(Fraction(rpm)), {"kind": "diagnose"}),
    }


def _begin(record: SearchRecord, plan: Plan, meta: dict[str, str]) -> None:
    """Note what decides the search, or go on with one. Raises UsageError if that was another."""
    from edgewheel.errors import UsageError
    from edgewheel.search.trials import FINGERPRINT

    if record.is_new:
        record.inputs(plan.inputs, meta)
    elif record.meta().get(FINGERPRINT) != meta[FINGERPRINT]:
        raise UsageError(
            f"{record.folder} is the record of another search: the bench file or what is asked of "
            "it has changed. Leave --resume out to begin anew."
        )


def told(diagnosis: Diagnosis, rpm: int) -> str:
    """The end in words."""
    tries = f"{diagnosis.tries} {'try' if diagnosis.tries == 1 else 'tries'}"
    findings = [
        fill(
            f"* Wrong: {' or '.join(finding.settings)}. {finding.remedy}",
            WIDTH,
            subsequent_indent="  ",
        )
        for finding in diagnosis.findings
    ]
    if diagnosis.complete and not findings:
        return (
            f"nothing is wrong at {rpm} rpm: in sync, speed and sparks are right ({tries}). "
            "Limits at other speeds: 'edgewheel threshold BENCH speed'."
        )
    if diagnosis.complete:
        return "\n".join([f"found in {tries}.", *findings])
    head = (
        f"{tries}, and no signal was found with which all is right. Look at the wiring, the supply "
        "of the sensors, and settings that no signal shows."
    )
    return "\n".join([fill(head, WIDTH), *findings])


def _line(step: Step) -> str:
    says = f" (it says: {step.look.reason})" if step.look.reason not in ("", "none") else ""
    return f"try {step.number:2d}  {step.what}: {step.meaning}{says}"


def _data(diagnosis: Diagnosis, steps: list[Step]) -> dict[str, Any]:
    return {
        "complete": diagnosis.complete,
        "tries": diagnosis.tries,
        "findings": [
            {"settings": list(finding.settings), "remedy": finding.remedy}
            for finding in diagnosis.findings
        ],
        "steps": [
            {
                "number": step.number,
                "signal": step.what,
                "stage": step.look.stage.name.lower(),
                "sparks_late_deg": dict(step.look.errors_deg),
                "says": step.look.reason,
                "meaning": step.meaning,
            }
            for step in steps
        ],
    }
