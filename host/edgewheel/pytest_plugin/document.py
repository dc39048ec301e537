"""The bench file of one test: what it says, and what marker and options put in its place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from edgewheel.bench.copies import bench_tree
from edgewheel.bench.loader import read_plan
from edgewheel.bench.plan import Plan
from edgewheel.errors import Place, UsageError
from edgewheel.pytest_plugin.choices import SIMULATED, Choices
from edgewheel.yamlfile import Node, document_text, load

MARKER = "edgewheel"


def bench_file(node: pytest.Item, choices: Choices) -> Path:
    """The file of the nearest marker that names one, or the session's. Raises UsageError."""
    for marker in node.iter_markers(MARKER):
        if "bench" in marker.kwargs:
            return node.path.parent / str(marker.kwargs["bench"])
    if choices.bench is None:
        raise UsageError(
            "No bench file is named. Write 'edgewheel_bench = \"bench.yaml\"' in pytest's section "
            "of pyproject.toml, give --edgewheel-bench FILE, or mark the test with "
            "@pytest.mark.edgewheel(bench='bench.yaml')."
        )
    return choices.bench


def values_set(node: pytest.Item) -> dict[str, str]:
    """What the markers set by address, the nearest last."""
    values: dict[str, str] = {}
    for marker in reversed(list(node.iter_markers(MARKER))):
        values |= {
            address: text_of(value) for address, value in marker.kwargs.get("set", {}).items()
        }
    return values


def text_of(value: object) -> str:
    """A value as it stands in a bench file."""
    return str(value).lower() if isinstance(value, bool) else str(value)


def chosen_document(file: Path, choices: Choices) -> Node:
    """The bench file's tree with the board, controller and seed of the session."""
    document = bench_tree(file)
    nodes = dict(document.section().nodes)
    if choices.real_board or not _is_simulated(nodes.get("board")):
        nodes["board"] = _node("--edgewheel-board", choices.board or SIMULATED)
    if choices.controller is not None:
        other = load(choices.controller).section().nodes
        own = other.get("controller", Node(document.place, dict(other)))
        nodes["controller"] = _from_folder(own, choices.controller.parent)
        if "signals" in other:
            nodes["signals"] = other["signals"]
    if choices.seed:
        nodes["seed"] = _node("--edgewheel-seed", choices.seed)
    return replace(document, content=nodes)


def plan_with(document: Node, file: Path, values: Mapping[str, str]) -> Plan:
    """The plan, with a bench file as it is played. Raises FileError, UsageError."""
    for address, text in values.items():
        document = document.with_value(address, text)
    plan = read_plan(document, file)
    played = (file.name, document_text(document))
    return replace(plan, inputs=(played, *plan.inputs[1:]))


def _from_folder(controller: Node, folder: Path) -> Node:
    """The section with the file of its settings, if it names one, found from a folder."""
    nodes = controller.section().nodes
    settings = nodes.get("settings")
    if settings is None or not isinstance(settings.content, str):
        return controller
    found = replace(settings, content=str(folder / settings.content))
    return replace(controller, content={**nodes, "settings": found})


def _is_simulated(board: Node | None) -> bool:
    return board is None or board.content == SIMULATED or isinstance(board.content, dict)


def _node(option: str, text: str) -> Node:
    return Node(Place(option), text)
