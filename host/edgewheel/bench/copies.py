"""The files that decide a run, as copies in its folder, and found again among them.

Copies lie side by side, wherever the originals were. One whose name another has already is called
by what it is to the bench file, too: `wheel-fan.yaml`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path, PurePath

from edgewheel.bench.record_folder import is_record
from edgewheel.errors import UsageError
from edgewheel.yamlfile import SUFFIXES, Node, load, read_text

WHEEL, MOTION, CONTROLLER = "wheel", "motion", "controller"
"""Keys of a bench file below which other files are named."""

_NAMED = (*SUFFIXES, ".csv", ".dbc")

Inputs = tuple[tuple[str, str], ...]
"""Names and texts of input files."""


def with_copies_of(inputs: Inputs, role: str, files: Iterable[Path]) -> Inputs:
    """The inputs and more of them, which are `role` to the bench file.

    Raises FileError; UsageError for two that could not be told apart.
    """
    taken, own = dict(inputs), dict[str, str]()
    for file in files:
        text = read_text(file)
        if own.setdefault(file.name, text) != text:
            raise UsageError(
                f"Several files of one bench are called {file.name}, and a run folder keeps copies "
                f"of them side by side. Give {file} another name."
            )
        name = file.name if taken.get(file.name, text) == text else f"{role}-{file.name}"
        inputs = inputs if (name, text) in inputs else (*inputs, (name, text))
    return inputs


def bench_tree(path: Path) -> Node:
    """The tree of a bench file; of one in a run folder, with the copies there in place of the
    files that it names. Raises FileError.
    """
    document = load(path)
    return among_copies(document, path.parent) if is_record(path.parent) else document


def named_file(folder: Path, named: str, role: str) -> Path:
    """A file that one in `folder` names; in a run folder, its copy if there is one."""
    return folder / (_copy(named, role, folder) if is_record(folder) else named)


def among_copies(document: Node, folder: Path) -> Node:
    """A bench file's tree in which every file that has a copy in the folder is that copy.

    A motion's file stands in its own place, so that the speed tables it names are copies, too.
    """
    nodes = {
        key: _among(node, key, folder) if key in (WHEEL, MOTION, CONTROLLER) else node
        for key, node in document.section().nodes.items()
    }
    motion = nodes.get(MOTION)
    if motion is not None and isinstance(motion.content, str):
        file = folder / motion.content
        if file.is_file():
            nodes[MOTION] = _among(load(file), MOTION, folder)
    return replace(document, content=nodes)


def _among(node: Node, role: str, folder: Path) -> Node:
    content = node.content
    if isinstance(content, dict):
        inner = {key: _among(child, role, folder) for key, child in content.items()}
        return replace(node, content=inner)
    if isinstance(content, tuple):
        return replace(node, content=tuple(_among(child, role, folder) for child in content))
    return replace(node, content=_copy(content, role, folder)) if content else node


def _copy(named: str, role: str, folder: Path) -> str:
    """The name of a file's copy; the text as it is where there is none."""
    name = PurePath(named).name
    if not name.endswith(_NAMED):
        if role != WHEEL:
            return named
        name += ".yaml"
    found = (one for one in (f"{role}-{name}", name) if (folder / one).is_file())
    return next(found, named)
