"""`edgewheel flash`: put the firmware on a board, and read back what is on it then."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "Put the firmware that comes with edgewheel on a board: find it in its boot loader or ask "
        "it to enter (by command, then by a touch at 1200 baud), copy the image to its drive, wait "
        "until it is back, and read back the version. This has never been tried on a real board, "
        "only on a stand-in."
    )
    parser.add_argument(
        "--port", metavar="PORT", help="the board's port; default: the only one with its USB ids"
    )
    parser.add_argument(
        "--image",
        type=Path,
        metavar="FILE",
        help="a UF2 file with its manifest (.json) beside it; default: the one that comes with "
        "edgewheel",
    )
    parser.add_argument(
        "--drive",
        type=Path,
        metavar="FOLDER",
        help="where the drive of the boot loader is mounted, or will be; default: where this "
        "system mounts drives",
    )
    parser.add_argument("--json", action="store_true", help="the result as JSON on stdout")


def run(args: argparse.Namespace) -> int:
    from edgewheel.board.drives import usual_roots
    from edgewheel.board.flash import flash
    from edgewheel.board.image import load_image, packaged_image
    from edgewheel.link.greeting import describe

    image = load_image(args.image or packaged_image())
    roots = (args.drive,) if args.drive else usual_roots()

    def say(text: str) -> None:
        print(f"edgewheel: {text}", file=sys.stderr, flush=True)

    flashed = flash(image, args.port, roots, say)
    welcome = flashed.welcome
    if args.json:
        data = {
            "schema": 1,
            "port": flashed.port,
            "unique_id": welcome.unique_id.hex(),
            "before": flashed.before or None,
            "firmware": welcome.firmware,
            "protocol": f"{welcome.major}.{welcome.minor}",
        }
        print_json(data)
    else:
        was = f", was {flashed.before}" if flashed.before else ""
        print(f"{flashed.port}: {describe(welcome)}, firmware {welcome.firmware}{was}")
    return ExitCode.PASSED
