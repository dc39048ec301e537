"""`edgewheel faults`: every kind of fault, what it means, and a picture of each."""

from __future__ import annotations

import argparse
from pathlib import Path

from edgewheel.cli.exits import ExitCode
from edgewheel.errors import UsageError
from edgewheel.wholefile import make_folder, write_whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", nargs="?", help="a kind of fault, to be told all about it")
    parser.add_argument(
        "--svg", type=Path, metavar="DIR", help="write the page about faults and their pictures"
    )


def run(args: argparse.Namespace) -> int:
    from edgewheel.fault.examples import description, example
    from edgewheel.fault.kinds import KINDS
    from edgewheel.fault.page import keys_table

    if args.svg is not None:
        if args.kind is not None:
            raise UsageError("--svg draws all kinds. Leave the kind out.")
        write_page(args.svg)
    elif args.kind is None:
        width = max(map(len, KINDS))
        for kind in KINDS:
            print(f"{kind:{width}}  {example(kind).meaning}")
    elif args.kind in KINDS:
        print(f"{args.kind}: {description(args.kind)}\n\n{keys_table(KINDS[args.kind])}\n")
        print(f"faults:\n  {example(args.kind).line}")
    else:
        raise UsageError(f"There is no fault '{args.kind}'. It is one of: {', '.join(KINDS)}.")
    return ExitCode.PASSED


def write_page(folder: Path) -> None:
    """Write faults.md and its pictures into a folder. Raises BenchError."""
    from edgewheel.fault.examples import example
    from edgewheel.fault.kinds import KINDS
    from edgewheel.fault.page import FOLDER, page_text
    from edgewheel.fault.picture import fault_svg

    files = {folder / FOLDER / f"{kind}.svg": fault_svg(example(kind)) for kind in KINDS}
    files[folder / "faults.md"] = page_text()
    make_folder(folder / FOLDER)
    for path, text in files.items():
        write_whole(path, text)
