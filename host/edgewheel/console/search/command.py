"""A search of the console as a command, by which it can be repeated and taken up."""

from __future__ import annotations

import shlex
from pathlib import Path

from edgewheel.bench.plan import Plan
from edgewheel.search.axis import Axis
from edgewheel.search.trial import RunUp


def on_copy(command: str, folder: Path, plan: Plan, *words: str) -> str:
    """A command on the copy of the bench file in a record, which is as it lay on the desk."""
    return shlex.join(["edgewheel", command, str(folder / plan.inputs[0][0]), *words])


def range_of(axis: Axis) -> tuple[str, str]:
    """The ends of an axis as words."""
    return str(axis.low), str(axis.high)


def speed_of(run_up: RunUp) -> tuple[str, ...]:
    """The option that gives a trial its speed; none where the motion is the bench file's."""
    return () if run_up.speed_rpm is None else ("--speed", str(run_up.speed_rpm))
