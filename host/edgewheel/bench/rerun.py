"""A run folder back to the plan that made it, read from the copies in the folder alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path, PurePath

from edgewheel.bench.loader import read_plan
from edgewheel.bench.plan import Plan
from edgewheel.bench.record_folder import read_summary
from edgewheel.errors import UsageError
from edgewheel.yamlfile import Node, load


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
    return read_plan(with_copies(load(path), folder), path)


def is_sweep(folder: Path) -> bool:
    """Whether the run was a sweep, as its summary says. Raises UsageError if there is none."""
    return "sweep" in read_summary(folder)


def with_copies(document: Node, folder: Path) -> Node:
    """A bench file's tree in which every file it names is the copy in the folder."""
    document = _named(document, "motion", folder)
    document = _named(document, "wheel", folder)
    controller = document.section().nodes.get("controller")
    if controller is not None and isinstance(controller.content, dict):
        inner = _named(controller, "settings", folder)
        document = replace(document, content={**document.section().nodes, "controller": inner})
    return document


def _named(node: Node, key: str, folder: Path) -> Node:
    """The node in which a key that names a file names its copy instead."""
    child = node.section().nodes.get(key)
    if child is None or not isinstance(child.content, str):
        return node
    for name in (PurePath(child.content).name, f"{PurePath(child.content).name}.yaml"):
        if name.endswith((".yaml", ".yml")) and (folder / name).is_file():
            return node.with_value(key, name)
    return node
