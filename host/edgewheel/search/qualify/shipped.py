"""The plans that come with edgewheel, found by the stem of their name."""

from __future__ import annotations

from pathlib import Path

from edgewheel.errors import UsageError
from edgewheel.yamlfile import is_path, load

FOLDER = Path(__file__).resolve().parents[2] / "examples" / "qualify"


def names() -> tuple[str, ...]:
    """The plans by name; bench files and wheels lie beside them."""
    return tuple(
        file.stem for file in sorted(FOLDER.glob("*.yaml")) if "tests" in load(file).section().nodes
    )


def locate(name: str) -> Path:
    """The file of a plan: what `is_path` says is one, or the shipped plan of that name.

    Raises UsageError for an unknown name.
    """
    if is_path(name):
        return Path(name)
    if name not in names():
        raise UsageError(
            f"No plan '{name}' comes with edgewheel, only {', '.join(names())}.\n"
            "  A file of your own is given as a path ending in .yaml."
        )
    return FOLDER / f"{name}.yaml"
