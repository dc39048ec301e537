"""`edgewheel doctor`: checks from the port to a wire, each with what to type if it fails."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json

if TYPE_CHECKING:
    from edgewheel.board.check import Check

_LONGEST_NAME = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Check a board from its port to a wire. The outputs give a few pulses, one that switches a "
        "controller's supply as well: disconnect it, coils and injectors first. Exit code 3 if a "
        "check fails. This has been tried on a simulated and an emulated board, never on a real "
        "one."
    )
    parser.add_argument(
        "--port", metavar="PORT", help="the board's port; default: the only one with its USB ids"
    )
    parser.add_argument(
        "--loop",
        action="append",
        default=[],
        type=_wire,
        metavar="OUT:IN",
        help="this output is wired to this input, as in 1:1; only such outputs give pulses, and "
        "each must arrive; may be given several times",
    )
    parser.add_argument(
        "--keep",
        metavar="RAIL",
        help="keep what the wires show as the stages behind this board's outputs, for later runs; "
        "RAIL says on what supply and pull-up, as in '12 V, 1 kohm'",
    )
    parser.add_argument("--json", action="store_true", help="print a JSON object")


def run(args: argparse.Namespace) -> int:
    from edgewheel.board.check import Outcome
    from edgewheel.board.doctor import Doctor
    from edgewheel.board.doctor_wires import Wire

    doctor = Doctor(args.port, [Wire(*wire) for wire in args.loop])
    done = []
    for check in doctor.checks():
        done.append(check)
        if not args.json:
            _print(check)
    kept = doctor.keep_stages(args.keep) if args.keep and _all_done(done) else None
    failed = any(check.outcome is Outcome.FAILED for check in done)
    if kept is not None:
        print(f"The stages of this board are kept in {kept}", file=sys.stderr)
    if args.json:
        checks = [{**vars(check), "values": dict(check.values)} for check in done]
        data = {"schema": 1, "port": doctor.port or None, "passed": not failed, "checks": checks}
        print_json(data)
    return ExitCode.BENCH if failed else ExitCode.PASSED


def _all_done(checks: list[Check]) -> bool:
    return all(check.outcome in ("ok", "note") for check in checks)


def _print(check: Check) -> None:
    print(f"{check.outcome:8}  {check.name:{_LONGEST_NAME}}  {check.detail}", flush=True)
    if check.remedy:
        print(f"{'':{10 + _LONGEST_NAME}}  {check.remedy}", flush=True)


def _wire(text: str) -> tuple[int, int]:
    """An argparse type: OUT:IN, numbered from 1, as two numbers from 0."""
    output, _, line = text.partition(":")
    if not (output.isdecimal() and line.isdecimal() and int(output) and int(line)):
        raise argparse.ArgumentTypeError(f"'{text}' is not OUT:IN; write 1:1, numbered from 1")
    return int(output) - 1, int(line) - 1
