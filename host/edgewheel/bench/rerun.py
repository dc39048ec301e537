"""A run folder back to the plan that made it, read from the copies in the folder alone."""

from __future__ import annotations

from pathlib import Path

from edgewheel.bench.copies import among_copies
from edgewheel.bench.loader import read_plan
from edgewheel.bench.plan import Plan
from edgewheel.errors import UsageError
from edgewheel.yamlfile import load


def plan_of_run(folder: Path, bench_file: str) -> Plan:
    """The plan of a run; its files are the copies in the run folder. Raises FileError, UsageError.

    `bench_file` is the name that the record gives its bench file.
    """
    if not bench_file:
        raise UsageError(
            f"The record in {folder} does not say which bench file it is of: an older edgewheel "
            "made it. Run the bench file again, and use the new folder."
        )
    path = folder / bench_file
    return read_plan(among_copies(load(path), folder), path)
