"""Help for the pane one is in, with all keys that do something there."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.widgets import Static

from edgewheel.console.dialogs.dialog import Dialog


class HelpDialog(Dialog[bool]):
    """A page to read."""

    KEYS_TEXT = "↑ ↓ · Esc closes"

    def __init__(self, title: str, text: str) -> None:
        super().__init__()
        self._title = title
        self._text = text

    @property
    def title_text(self) -> str:
        return self._title

    def inside(self) -> ComposeResult:
        with VerticalScroll(classes="reading"):
            yield Static(self._text, markup=False)

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()
