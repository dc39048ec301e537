"""`edgewheel export`: a recorded run as CSV or MDF, on one time base."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import output


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("run_folder", type=Path, metavar="RUN", help="a run folder")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="FILE", help="a .csv or .mf4 file; CSV on stdout else"
    )


def run(args: argparse.Namespace) -> int:
    from edgewheel.errors import UsageError
    from edgewheel.search.export import write_csv, write_mdf
    from edgewheel.search.recorded import RecordedRun

    recorded = RecordedRun(args.run_folder)
    if args.output is None:
        write_csv(recorded, sys.stdout)
        return ExitCode.PASSED
    if args.output.suffix == ".mf4":
        count = write_mdf(recorded, args.output)
    elif args.output.suffix == ".csv":
        with output(str(args.output), "utf-8") as file:
            count = write_csv(recorded, file)
    else:
        raise UsageError(f"{args.output} is neither .csv nor .mf4. Name the file by its format.")
    print(f"{count} samples written to {args.output}", file=sys.stderr)
    return ExitCode.PASSED
