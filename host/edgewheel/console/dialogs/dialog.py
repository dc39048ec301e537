"""What every dialogue shares: it lies over the page, and Escape closes it and changes nothing."""

from __future__ import annotations

from typing import ClassVar, TypeVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.markup import escape
from textual.screen import ModalScreen
from textual.widgets import Label

Answer = TypeVar("Answer")


class Dialog(ModalScreen[Answer | None]):
    """A bordered box with a title and a line that says which keys do what."""

    TITLE_TEXT: ClassVar[str] = ""
    KEYS_TEXT: ClassVar[str] = "Enter does it · Esc leaves it"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape", "leave", "Close", show=False)]

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog") as box:
            box.border_title = escape(self.title_text)
            yield from self.inside()
            yield Label("", id="complaint", markup=False)
            yield Label(f"{self.KEYS_TEXT} · F8 parks", classes="quiet")

    @property
    def title_text(self) -> str:
        """What stands in the border."""
        return self.TITLE_TEXT

    def inside(self) -> ComposeResult:
        """The fields."""
        yield from ()

    def takes_early(self, event: events.Key) -> bool:
        """Keep a key that came before the fields stood; whether it was one of theirs."""
        return False

    def complain(self, sentence: str) -> None:
        """Say what cannot be; the dialogue stays open."""
        self.query_one("#complaint", Label).update(sentence)

    def action_leave(self) -> None:
        """Close it, changing nothing."""
        self.dismiss(None)
