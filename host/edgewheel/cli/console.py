"""`edgewheel console`: everything on one screen, kept open beside the bench."""

from __future__ import annotations

import argparse
import gc
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode

if TYPE_CHECKING:
    from edgewheel.console.app import ConsoleApp
    from edgewheel.console.desk import Desk
    from edgewheel.console.settings import Settings


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "bench", type=Path, nargs="?", help="a bench file; without, one that is ready to turn"
    )
    parser.add_argument("--runs", type=Path, default=Path("runs"), help="where run folders go")
    parser.add_argument(
        "--settings", type=Path, metavar="FILE", help="keys and theme, instead of your own"
    )
    parser.add_argument("--keys", action="store_true", help="print all keys, and open nothing")
    parser.add_argument("--picture", type=Path, metavar="FILE", help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    _put_off_garbage()
    from edgewheel.console.settings import read_settings, settings_file

    if args.picture:
        from edgewheel.console.picture import take

        take(args.picture)
        return ExitCode.PASSED
    settings = read_settings(args.settings or settings_file(), _ids)
    if args.keys:
        from edgewheel.console.keys_page import keys_page

        print(keys_page(settings.keys), end="")
        return ExitCode.PASSED
    return _open(args, settings)


def _ids() -> tuple[str, ...]:
    """The ids of all actions; needed only for a file of settings."""
    from edgewheel.console.keys_page import all_ids

    return all_ids()


def _open(args: argparse.Namespace, settings: Settings) -> int:
    """The console, until it is left; returns the exit code."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        from edgewheel.errors import UsageError

        raise UsageError(
            "The console needs a terminal. Without one, 'edgewheel run' and the other commands do "
            "all that it does."
        )
    app = console(args.bench, args.runs, settings)
    try:
        app.run()
    finally:
        app.close()
    if app.refusal is not None:
        raise app.refusal
    if app.mistake is not None:
        print(app.mistake.told(), file=sys.stderr)
        return ExitCode.INTERNAL
    if (trouble := app.take_trouble()) is not None:
        raise trouble
    return app.return_code or ExitCode.PASSED


def console(bench: Path | None, runs: Path, settings: Settings | None = None) -> ConsoleApp:
    """The console on a bench file, or on the one that is ready to turn."""
    _put_off_garbage()
    from edgewheel.console.app import ConsoleApp

    def make_desk() -> Desk:
        from edgewheel.console.opening import live_desk

        return live_desk(bench, runs)

    return ConsoleApp(make_desk, settings)


def _put_off_garbage() -> None:
    """What is imported and made before the first page stays: looking through it again and again
    takes a tenth of the start. The application looks for garbage again as soon as all that keys
    ask for is imported.
    """
    gc.disable()
