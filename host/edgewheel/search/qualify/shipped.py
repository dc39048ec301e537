"""Plans by name: those that come with edgewheel, and a user's own."""

from __future__ import annotations

from difflib import get_close_matches
from pathlib import Path

from edgewheel.errors import FileError, UsageError
from edgewheel.yamlfile import SUFFIXES, is_path, load

FOLDER = Path(__file__).resolve().parents[2] / "examples" / "qualify"
MOST_FILES = 100
"""In a folder that is looked through for plans."""


def names() -> tuple[str, ...]:
    """The plans that come along; bench files and wheels lie beside them."""
    return tuple(file.stem for file in plans_in(FOLDER))


def plans_in(folder: Path) -> list[Path]:
    """The plans among the first files of a folder, by name."""
    files = sorted(file for file in folder.iterdir() if file.suffix in SUFFIXES)
    return [file for file in files[:MOST_FILES] if _is_plan(file)]


def locate(name: str) -> Path:
    """The file of a plan: the one of that name that comes along, or a file, its suffix left out or
    not.

    Raises UsageError for a folder, with the plans in it, and for an unknown name.
    """
    file = Path(name)
    if name in names():
        return FOLDER / f"{name}.yaml"
    if name and file.is_dir():
        raise UsageError(_in_folder(file))
    if is_path(name) or file.is_file():
        return file
    own = [one for suffix in SUFFIXES if (one := Path(f"{name}{suffix}")).is_file()]
    if own:
        return own[0]
    near = get_close_matches(name, names(), 1)
    meant = f" Is '{near[0]}' meant?" if near else ""
    raise UsageError(
        f"There is no plan '{name}': no {name or 'NAME'}.yaml lies here, and of those that come "
        f"with edgewheel there is only {', '.join(names())}.{meant}\n"
        "  A file of your own is given as a path ending in .yaml."
    )


def _in_folder(folder: Path) -> str:
    found = [str(file) for file in plans_in(folder)]
    if found:
        return f"{folder} is a folder. Name a plan in it: {', '.join(found)}."
    return (
        f"{folder} is a folder, and no plan of tests lies in it. Name a YAML file with 'bench:' "
        f"and 'tests:', or one that comes along: {', '.join(names())}."
    )


def _is_plan(file: Path) -> bool:
    try:
        return {"bench", "tests"} <= set(load(file).section().nodes)
    except FileError:
        return False
