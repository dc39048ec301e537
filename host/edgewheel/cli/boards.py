"""`edgewheel boards`: the boards that are plugged in, and what they say of themselves."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json

if TYPE_CHECKING:
    from edgewheel.board.discovery import Found
    from edgewheel.board.drives import Drive

_COLUMNS = ("port", "board", "unique_id", "firmware", "protocol", "state")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "List the boards that are plugged in. Only ports with the USB ids of a board are opened, "
        "and no run is touched."
    )
    parser.add_argument(
        "--port",
        action="append",
        default=[],
        metavar="PORT",
        help="ask this port too: a board behind a converter, a pseudo-terminal, "
        "socket://host:port; may be given several times",
    )
    parser.add_argument("--json", action="store_true", help="print a JSON object")


def run(args: argparse.Namespace) -> int:
    from edgewheel.board.discovery import discover, other_ports
    from edgewheel.board.drives import find_drives, usual_roots

    found = discover(args.port)
    waiting = find_drives(usual_roots())
    if args.json:
        data = {
            "schema": 1,
            "boards": [as_data(one) for one in found],
            "boot_loaders": [_drive_data(drive) for drive in waiting],
        }
        print_json(data)
    elif found:
        _print_table([as_data(one) for one in found])
    _talk(found, waiting, other_ports())
    return ExitCode.PASSED


def as_data(found: Found) -> dict[str, Any]:
    """What is known of a port, for JSON; what is not known is None."""
    from edgewheel.link.greeting import kind

    welcome, usb = found.welcome, found.candidate.usb
    return {
        "port": found.candidate.port,
        "usb": f"{usb[0]:04x}:{usb[1]:04x}" if usb else None,
        "usb_serial": found.candidate.usb_serial or None,
        "board": kind(welcome) if welcome else None,
        "unique_id": welcome.unique_id.hex() if welcome else None,
        "firmware": welcome.firmware if welcome else None,
        "protocol": f"{welcome.major}.{welcome.minor}" if welcome else None,
        "state": found.state,
        "problem": str(found.error) if found.error else None,
    }


def _drive_data(drive: Drive) -> dict[str, str]:
    return {"drive": str(drive.folder), "board_id": drive.board_id}


def _print_table(rows: list[dict[str, Any]]) -> None:
    cells = [tuple(str(row[name] or "-") for name in _COLUMNS) for row in rows]
    heads = tuple(name.replace("_", " ") for name in _COLUMNS)
    widths = [max(map(len, column)) for column in zip(heads, *cells, strict=True)]
    for line in (heads, *cells):
        print(
            "  ".join(f"{text:{width}}" for text, width in zip(line, widths, strict=True)).rstrip()
        )


def _talk(found: tuple[Found, ...], waiting: tuple[Drive, ...], others: int) -> None:
    """What a person should know beside the list."""
    for one in found:
        if one.error is not None:
            print(f"edgewheel: {one.error}", file=sys.stderr)
    for drive in waiting:
        print(
            f"edgewheel: the drive {drive.folder} is a board in its boot loader: edgewheel flash",
            file=sys.stderr,
        )
    if not found and not waiting:
        print(
            "edgewheel: no board is on USB. Plug one in; a new one wants its firmware first: "
            "edgewheel flash",
            file=sys.stderr,
        )
    if others:
        ports = "serial port was" if others == 1 else "serial ports were"
        print(
            f"edgewheel: {others} other {ports} left alone; to ask one, name it: edgewheel boards "
            "--port PORT",
            file=sys.stderr,
        )
