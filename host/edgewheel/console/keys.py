"""The keys: read from the bindings, for the palette, the help and the page in the docs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.app import App
from textual.binding import Binding, BindingType
from textual.dom import DOMNode

if TYPE_CHECKING:
    from edgewheel.console.page import Page

NAMES = {
    "plus": "+",
    "minus": "-",
    "equals_sign": "=",
    "slash": "/",
    "enter": "Enter",
    "space": "Space",
}


@dataclass(frozen=True)
class Action:
    """Something that a key does. `key` as a person writes it; `action` as Textual does."""

    name: str
    key: str
    action: str
    id: str


def actions_of(bindings: list[BindingType], keymap: Mapping[str, str]) -> list[Action]:
    """The actions of a page or of the application, in their order."""
    found = []
    for binding in bindings:
        if isinstance(binding, Binding) and binding.id:
            text = keymap.get(binding.id, binding.key)
            key = ", ".join(shown(one.strip()) for one in text.split(","))
            name = binding.tooltip or binding.description
            found.append(Action(name, key, binding.action, binding.id))
    return found


def actions(page: Page, app: App[None], keymap: Mapping[str, str]) -> Iterator[Action]:
    """What can be done on a page, its own actions first."""
    for node in (page, app):
        yield from actions_of(bindings_of(type(node)), keymap)


def bindings_of(kind: type[DOMNode]) -> list[BindingType]:
    """The bindings that a class itself declares."""
    return list(kind.__dict__.get("BINDINGS", []))


def shown(key: str) -> str:
    """A key as a person writes it."""
    return NAMES.get(key, key.upper() if key[0] == "f" and key[1:].isdecimal() else key)


def help_for(page: Page, app: App[None], keymap: Mapping[str, str]) -> tuple[str, str]:
    """Title and text of the help for the pane one is in."""
    pane = page.current
    rows = [f"{action.key:12s} {action.name}" for action in actions(page, app, keymap)]
    title = pane.NAME if pane else page.MODE.capitalize()
    abouts = [pane.ABOUT] if pane else []
    abouts.append(page.ABOUT)
    others = [f"{one.NAME}. {one.ABOUT}" for one in page.panes if one is not pane]
    return title, "\n\n".join([*abouts, "\n".join(rows), *others])
