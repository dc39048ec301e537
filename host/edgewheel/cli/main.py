"""The command line: one module a command, imported only when its command is given.

stdout is data, stderr is talk. Exit codes are in `edgewheel.cli.exits`.
"""

from __future__ import annotations

import argparse
import errno
import importlib
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol, cast

from edgewheel import __version__
from edgewheel.cli.exits import ExitCode
from edgewheel.cli.streams import drop, settle_streams
from edgewheel.errors import MISTAKE, EdgewheelError

DISK_ERRORS = (errno.ENOSPC, errno.EDQUOT, errno.EIO)


class Command(Protocol):
    """What a command's module offers."""

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Declare options and arguments."""

    def run(self, args: argparse.Namespace) -> int:
        """Do it; returns the exit code."""


@dataclass(frozen=True)
class Entry:
    """A command's name, its module under `edgewheel.cli`, and its line in the help."""

    name: str
    module: str
    summary: str

    def load(self) -> Command:
        return cast(Command, importlib.import_module(f"edgewheel.cli.{self.module}"))


COMMANDS = (
    Entry("demo", "demo", "run an invented case on the simulated bench, from nothing to the cause"),
    Entry("console", "console", "the bench on one screen: turn, try faults, search, look at runs"),
    Entry("wheels", "wheels", "list the wheel library"),
    Entry("check", "check", "say what a wheel can tell a controller"),
    Entry("draw", "draw", "draw a wheel and its signals, or the whole library"),
    Entry("compile", "compile", "turn a wheel and a motion into an exact edge table"),
    Entry("import", "importing", "turn a capture of any kind into an edge table"),
    Entry("learn", "learn", "find the wheel behind a capture, and teeth that stand wrong"),
    Entry("replay", "replay", "play a capture on the bench, edge for edge"),
    Entry("run", "run", "play a bench file once and judge what the controller says"),
    Entry("sweep", "sweep", "find the speed at which the controller loses sync"),
    Entry("starts", "starts", "time the way to sync from many crank angles"),
    Entry("export", "export", "write a recorded run as CSV or MDF, on one time base"),
    Entry("timing", "timing", "hold the controller's outputs against the true crank angle"),
    Entry("shrink", "shrink", "find the least that makes the controller fail as in a run"),
    Entry("faults", "faults", "list the faults, or draw each of them"),
    Entry("threshold", "threshold", "find the value of one number at which the controller fails"),
    Entry("envelope", "envelope", "map where sync holds over two numbers, along its border"),
    Entry("report", "report", "make one page of a record, to be read, printed and sent on"),
    Entry("qualify", "qualify", "play a plan of tests: a release's crank and cam inputs, proved"),
    Entry("boards", "boards", "list the boards that are plugged in, and what they say"),
    Entry("doctor", "doctor", "check port, board, link and wiring, and say what to type"),
    Entry("flash", "flash", "put the firmware that comes with edgewheel on a board"),
    Entry("diagnose", "diagnose", "find the controller's wrong setting by varying the signal"),
    Entry("sheet", "sheet", "say what to type into a controller, with margins and proof"),
    Entry("board", "board", "start a simulated board on a real serial port"),
)


def main(argv: Sequence[str] | None = None) -> int:
    """Parse the command line, run one command, return its exit code."""
    parser = _parser(argv if argv is not None else sys.argv[1:])
    args = parser.parse_args(argv)
    args.typed = ["edgewheel", *(argv if argv is not None else sys.argv[1:])]
    try:
        return _written(int(args.run(args)))
    except EdgewheelError as error:
        print(f"edgewheel: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("edgewheel: interrupted", file=sys.stderr)
        return ExitCode.INTERRUPTED
    except BrokenPipeError:
        drop(sys.stdout)
        return ExitCode.PASSED
    except Exception as error:
        return _unexpected(error)


def _written(code: int) -> int:
    """The exit code of a command, once stdout is written out: a verdict stands without a reader."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        drop(sys.stdout)
    return code


def _unexpected(error: Exception) -> int:
    """The exit code of what no command knows: a full disk, or a mistake of ours."""
    if isinstance(error, OSError) and error.errno in DISK_ERRORS:
        drop(sys.stdout)
        print(f"edgewheel: what was asked for cannot be written: {error.strerror}", file=sys.stderr)
        return ExitCode.BENCH
    import traceback

    traceback.print_exception(error)
    print(MISTAKE, file=sys.stderr)
    return ExitCode.INTERNAL


def entry() -> None:
    """The console script."""
    # Nothing here multiplies matrices; the threads for it are half the time to import numpy.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    settle_streams()
    sys.exit(main())


def _parser(argv: Sequence[str]) -> argparse.ArgumentParser:
    """The parser; only the module of the command that is named in `argv` is imported."""
    parser = argparse.ArgumentParser(
        prog="edgewheel",
        description="A bench signal generator for engine controllers.",
        epilog="Bench only: coils and injectors disconnected, supply current-limited.",
    )
    parser.add_argument("--version", action="version", version=f"edgewheel {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    named = next((word for word in argv if not word.startswith("-")), None)
    for command in COMMANDS:
        sub = commands.add_parser(command.name, help=command.summary, description=command.summary)
        if command.name == named:
            module = command.load()
            module.add_arguments(sub)
            sub.set_defaults(run=module.run)
    return parser
