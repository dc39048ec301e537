"""A part of a page: it is told how things stand, and draws only while it is on screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.containers import Vertical
from textual.markup import escape

if TYPE_CHECKING:
    from edgewheel.console.desk import View


class Pane(Vertical):
    """One bordered part of a page. `about` is its help, a few sentences."""

    NAME: ClassVar[str] = ""
    KEY: ClassVar[str] = ""
    """The key that goes to it."""

    ABOUT: ClassVar[str] = ""

    def __init__(self, pane_id: str) -> None:
        super().__init__(id=pane_id, classes="pane")
        self.name_it("")

    def name_it(self, detail: str) -> None:
        """Its name in the border, the key to it, and a few words more."""
        more = f" · {detail}" if detail else ""
        title = escape(f"{self.NAME} ({self.KEY}){more}")
        if title != self.border_title:
            self.border_title = title

    def show(self, view: View) -> None:
        """Draw how things stand. Called ten times a second while the pane is on screen."""

    def go(self) -> None:
        """Take the focus, if there is something in the pane that takes keys."""
