"""What happens behind the first page: a desk is made, and what keys will ask for is imported."""

from __future__ import annotations

import importlib
from pathlib import Path

from edgewheel.console.desk import FIRST, Desk

LATER = (
    "bench.live.work",
    "console.choosing",
    "console.dialogs.numbers",
    "console.dialogs.speed",
    "console.fit",
    "console.pulses",
    "console.runs.page",
    "console.runs.told",
    "console.search.ask",
    "console.search.jobs",
    "console.search.page",
    "console.search.qualify_job",
)
"""Under `edgewheel`: what somebody who presses a key would have to wait for otherwise."""


def live_desk(bench: Path | None, runs: Path) -> Desk:
    """A bench file, or the one that is ready to turn, and its live bench.

    Raises FileError, UsageError.
    """
    from edgewheel.bench.live.bench import LiveBench

    return Desk(bench or FIRST, runs, LiveBench)


def prepare() -> None:
    """Import it all, and read the wheels of the library."""
    for name in LATER:
        importlib.import_module(f"edgewheel.{name}")
    from edgewheel.console.choices import wheels

    wheels()
