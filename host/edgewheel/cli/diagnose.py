"""`edgewheel diagnose`: which setting of the controller is wrong, by varying the signal."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.reporting import leave_junit
from edgewheel.cli.searching import add_search_arguments
from edgewheel.cli.talk import Talk, stoppable

if TYPE_CHECKING:
    from edgewheel.search.diagnose import Step

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
    from edgewheel.bench.search_record import SearchRecord, search_folder
    from edgewheel.errors import UsageError
    from edgewheel.search.diagnose import Diagnose
    from edgewheel.search.diagnose_words import diagnosis_data, meta_of, step_line, told
    from edgewheel.search.diagnosing import Player
    from edgewheel.search.trials import SearchStopped

    if not LEAST_RPM <= args.speed <= MOST_RPM:
        raise UsageError(f"--speed {args.speed}: write {LEAST_RPM} to {MOST_RPM} rpm.")
    plan = load_plan(args.bench)
    talk = Talk()
    steps: list[Step] = []
    with SearchRecord(search_folder(args.runs, plan.name, args.resume)) as record:
        meta = meta_of(plan, args.speed) | {"repeat": talk.keep(record.folder, args.typed)}
        record.begin(plan.inputs, meta)
        player = Player(plan, record)
        diagnose = Diagnose(plan, player, args.speed)
        with stoppable(player.stop):
            try:
                for step in diagnose.steps():
                    steps.append(step)
                    talk.say(step_line(step))
            except SearchStopped:
                talk.say(
                    f"stopped after {diagnose.tries} tries. The same command with "
                    f"--resume {record.folder} goes on from there"
                )
                return ExitCode.INTERRUPTED
        diagnosis = diagnose.diagnosis
        assert diagnosis is not None
        record.finish({**meta, "diagnosis": diagnosis_data(diagnosis, steps)})
    leave_junit(record.folder, talk)
    if args.json:
        data = {"schema": 1, "folder": str(record.folder), **diagnosis_data(diagnosis, steps)}
        print(json.dumps(data, indent=2))
    else:
        talk.answer(f"{plan.name}: {told(diagnosis, args.speed)}")
        talk.answer(f"Record: {record.folder}")
    sound = diagnosis.complete and not diagnosis.findings
    return ExitCode.PASSED if sound else ExitCode.FAILED
