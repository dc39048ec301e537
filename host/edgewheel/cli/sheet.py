"""`edgewheel sheet`: what to type into a controller, with margins and their proof."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json

if TYPE_CHECKING:
    from edgewheel.search.sheet.model import Subject


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("subject", metavar="BENCH|WHEEL", help="a bench file, or a wheel")
    parser.add_argument(
        "runs", type=Path, nargs="*", metavar="RUN", help="folders of runs, sweeps and thresholds"
    )
    parser.add_argument(
        "--motion", type=Path, metavar="FILE", help="hold for this motion, not the bench file's"
    )
    parser.add_argument("--json", action="store_true", help="the sheet as JSON on stdout")


def run(args: argparse.Namespace) -> int:
    from edgewheel.search.sheet.make import sheet_of
    from edgewheel.search.sheet.page import as_data, page
    from edgewheel.search.sheet.proof import read_runs

    sheet = sheet_of(_subject(args.subject, args.motion), read_runs(args.runs))
    if args.json:
        print_json(as_data(sheet))
    else:
        print(page(sheet), end="")
    return ExitCode.PASSED


def _subject(name: str, motion_file: Path | None) -> Subject:
    """A bench file's, or a wheel's. Raises FileError, UsageError."""
    from edgewheel.bench.copies import bench_tree
    from edgewheel.bench.loader import read_plan
    from edgewheel.errors import UsageError
    from edgewheel.motion.loader import load_motion
    from edgewheel.search.sheet.make import bench_subject, wheel_subject
    from edgewheel.wheel.library import find
    from edgewheel.yamlfile import is_path

    motion = (motion_file.name, load_motion(motion_file)) if motion_file else None
    if not is_path(name):
        return wheel_subject(find(name), motion)
    file = Path(name)
    document = bench_tree(file)
    keys = document.section().nodes
    if "wheel" in keys:
        return bench_subject(read_plan(document, file), name, motion)
    if "tracks" not in keys:
        raise UsageError(
            f"{name} is neither a bench file, which has 'wheel:', nor a wheel, which has 'tracks:'."
        )
    return wheel_subject(find(file), motion)
