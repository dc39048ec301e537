"""From any folder that a command left to its report."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from edgewheel.errors import UsageError
from edgewheel.report.kinds.qualify import read_qualify
from edgewheel.report.kinds.run import read_run
from edgewheel.report.kinds.searches import (
    read_diagnose,
    read_envelope,
    read_starts,
    read_threshold,
)
from edgewheel.report.kinds.sweep import read_sweep
from edgewheel.report.model import Report
from edgewheel.report.source import Source, open_source

_READERS: dict[str, Callable[[Source], Report]] = {
    "diagnose": read_diagnose,
    "envelope": read_envelope,
    "live": read_run,
    "qualify": read_qualify,
    "run": read_run,
    "starts": read_starts,
    "sweep": read_sweep,
    "threshold": read_threshold,
}


def read_report(folder: Path) -> Report:
    """The report of a folder. Raises UsageError if it holds no finished record of a known kind."""
    source = open_source(folder)
    reader = _READERS.get(source.kind)
    if reader is None:
        raise UsageError(
            f"{folder} is the record of '{source.kind}', of which there is no report. There is one "
            f"of {', '.join(sorted(_READERS))}."
        )
    try:
        return reader(source)
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(
            f"{folder / 'summary.json'} lacks something that a report of '{source.kind}' needs "
            f"({error!r}). Was it edited, or made by another edgewheel? Run the command again."
        ) from error
