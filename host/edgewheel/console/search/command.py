"""A search of the console as a command: kept in its record, it can be repeated and taken up."""

from __future__ import annotations

import shlex
from contextlib import suppress
from pathlib import Path

from edgewheel.bench.plan import Plan
from edgewheel.clock import utc_stamp
from edgewheel.search.axis import Axis
from edgewheel.search.trial import RunUp

LOG = "run.log"
"""Where the command line, too, keeps what was typed."""

PROMPT = "$ "


def on_copy(command: str, folder: Path, plan: Plan, *words: str) -> str:
    """A command on the copy of the bench file in a record, which is as it lay on the desk."""
    return shlex.join(["edgewheel", command, str(folder / plan.inputs[0][0]), *words])


def range_of(axis: Axis) -> tuple[str, str]:
    """The ends of an axis as words."""
    return str(axis.low), str(axis.high)


def speed_of(run_up: RunUp) -> tuple[str, ...]:
    """The option that gives a trial its speed; none where the motion is the bench file's."""
    return () if run_up.speed_rpm is None else ("--speed", str(run_up.speed_rpm))


def keep(folder: Path, command: str) -> None:
    """Note the command in a record. A log that cannot be written must not end a search."""
    with suppress(OSError), (folder / LOG).open("a", encoding="utf-8") as log:
        log.write(f"{utc_stamp()}  {PROMPT}{command}\n")


def kept(folder: Path) -> str:
    """The command that a record was last begun or taken up by; empty if nobody noted it."""
    try:
        lines = (folder / LOG).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return ""
    typed = [line.partition(PROMPT)[2] for line in lines if line.partition("  ")[2][:2] == PROMPT]
    return typed[-1] if typed else ""
